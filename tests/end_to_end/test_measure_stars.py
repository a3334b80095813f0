"""`measure --stars`: a frame that the mount moved in is left out by what its own pixels show."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from scipy.ndimage import convolve
from typer.testing import CliRunner

from polarcheck.cli.app import app

SAMPLE = Path(__file__).parents[2] / "sample_frames" / "north_sweep"


@pytest.fixture(scope="module")
def sweep(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four real frames, the second drawn out along 30 deg as a moving mount does it."""
    folder = tmp_path_factory.mktemp("sweep")
    for i, path in enumerate(sorted(SAMPLE.glob("*.fits.fz"))[:4]):
        copy = folder / path.name
        shutil.copy(path, copy)
        if i == 1:
            with fits.open(copy) as hdus:
                image = next(hdu for hdu in hdus if hdu.data is not None)
                pixels, header = np.asarray(image.data, dtype=np.float32), image.header.copy()
            kernel = np.zeros((15, 15))
            for t in np.linspace(-6, 6, 200):
                kernel[round(7 + t * 0.5), round(7 + t * 0.866)] += 1 / 200
            fits.CompImageHDU(convolve(pixels, kernel), header).writeto(copy, overwrite=True)
    return folder


def measured(*arguments: str) -> dict:
    result = CliRunner().invoke(app, ["measure", *arguments, "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_frame_that_moved_is_left_out_on_request(sweep: Path) -> None:
    plain, checked = measured(str(sweep)), measured(str(sweep), "--stars")
    assert plain["fit"]["frames_used"] == 4
    assert checked["fit"]["frames_used"] == 3
    left = [frame for frame in checked["frames"] if not frame["used"]]
    assert [frame["file"] for frame in left] == [sorted(p.name for p in sweep.iterdir())[1]]
    assert "still moved" in left[0]["reason"]
    truth = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))["error"]
    assert checked["error"]["azimuth_arcmin"] == pytest.approx(truth["azimuth_arcmin"], abs=0.1)


def test_short_trail_is_used_and_said(tmp_path: Path) -> None:
    """A trail of 5 px shifts no solution by more than its noise; it cost a frame once."""
    for i, path in enumerate(sorted(SAMPLE.glob("*.fits.fz"))[:3]):
        shutil.copy(path, tmp_path / path.name)
        if i == 1:
            with fits.open(tmp_path / path.name) as hdus:
                image = next(hdu for hdu in hdus if hdu.data is not None)
                pixels, header = np.asarray(image.data, dtype=np.float32), image.header.copy()
            kernel = np.full((1, 5), 0.2)
            fits.CompImageHDU(convolve(pixels, kernel), header).writeto(tmp_path / path.name, overwrite=True)
    checked = measured(str(tmp_path), "--stars")
    assert checked["fit"]["frames_used"] == 3
    assert "moved-a-little" in {warning["code"] for warning in checked["warnings"]}


def test_frames_without_stars_are_kept_and_said_to_be_unknown(tmp_path: Path) -> None:
    for path in sorted(SAMPLE.glob("*.fits.fz"))[:3]:
        shutil.copy(path, tmp_path / path.name)
    blank = tmp_path / sorted(p.name for p in tmp_path.iterdir())[0]
    with fits.open(blank) as hdus:
        image = next(hdu for hdu in hdus if hdu.data is not None)
        header = image.header.copy()
        zeros = np.zeros(image.data.shape, dtype=np.int16)
    fits.CompImageHDU(zeros, header).writeto(blank, overwrite=True)
    answer = measured(str(tmp_path), "--stars")
    assert answer["fit"]["frames_used"] == 3
    assert any(w["code"] == "stars-unknown" and blank.name in w["text"] for w in answer["warnings"])
