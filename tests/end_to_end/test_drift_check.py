"""`drift --check`: predicted drift against a sequence of really solved frames."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from typer.testing import CliRunner

from polarcheck.cli.app import app
from polarcheck.report.pictures.canvas import PALE, STRONG

SAMPLES = Path(__file__).parents[2] / "sample_frames"
TRACKED = sorted((SAMPLES / "tracked_only").glob("*.fits.fz"))
WCS_KEYS = (
    "CTYPE",
    "CRVAL",
    "CRPIX",
    "CD1_",
    "CD2_",
    "CUNIT",
    "A_",
    "B_",
    "AP_",
    "BP_",
    "LONPOLE",
    "LATPOLE",
)


def checked(*arguments: str) -> dict:
    result = CliRunner().invoke(app, ["drift", *arguments, "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def unsolved(path: Path, copy: Path) -> Path:
    """The same frame without its plate solution."""
    shutil.copy(path, copy)
    with fits.open(copy, mode="update") as hdus:
        header = next(hdu for hdu in hdus if hdu.data is not None).header
        for key in [key for key in header if key.startswith(WCS_KEYS)]:
            del header[key]
    return copy


def test_real_sequence_drifts_as_predicted_for_the_true_axis() -> None:
    """The rendered mount's true error (truth.json), an hour unguided: within 0.3 arcsec of 260, and no steady excess."""
    truth = json.loads((SAMPLES / "tracked_only" / "truth.json").read_text(encoding="utf-8"))
    site, error = truth["site"], truth["error"]
    answer = checked(
        "--error",
        f"{error['azimuth_arcmin']},{error['altitude_arcmin']}",
        "--site",
        f"{site['latitude_deg']},{site['longitude_deg']},{site['height_m']}",
        "--check",
        str(SAMPLES / "tracked_only"),
    )
    assert len(answer["frames"]) == len(TRACKED)
    last = answer["frames"][-1]
    assert np.hypot(last["seen"]["east_arcsec"], last["seen"]["north_arcsec"]) > 200
    for frame in answer["frames"]:
        for part in ("east_arcsec", "north_arcsec"):
            assert frame["seen"][part] == pytest.approx(frame["predicted"][part], abs=0.3)
    for part in ("east_arcsec", "north_arcsec", "rotation_arcsec"):
        assert abs(answer["excess_per_min"][part]) < 3.5 * answer["excess_per_min_sigma"][part]


def test_measured_axis_serves_as_well_and_a_wrong_one_shows() -> None:
    tracked = str(SAMPLES / "tracked_only")
    right = checked(str(SAMPLES / "north_sweep"), "--check", tracked)
    wrong = checked(str(SAMPLES / "after_correction"), "--check", tracked)
    assert abs(right["excess_per_min"]["east_arcsec"]) < 0.01
    assert abs(wrong["excess_per_min"]["east_arcsec"]) > 100 * abs(right["excess_per_min"]["east_arcsec"])
    result = CliRunner().invoke(app, ["drift", str(SAMPLES / "after_correction"), "--check", tracked])
    assert "beyond its uncertainty" in result.stdout
    assert all(len(line) <= 80 for line in result.stdout.splitlines())


def test_frames_without_solution_are_tied_by_their_stars(tmp_path: Path) -> None:
    """Every frame but the first loses its solution: the same drift within 0.3 arcsec, rotation within 40."""
    shutil.copy(TRACKED[0], tmp_path / TRACKED[0].name)
    for path in TRACKED[1:]:
        unsolved(path, tmp_path / path.name)
    sweep = str(SAMPLES / "north_sweep")
    tied = checked(sweep, "--check", str(tmp_path))
    solved = checked(sweep, "--check", str(SAMPLES / "tracked_only"))
    assert tied["unsolved_frames"] == len(TRACKED) - 1
    for a, b in zip(tied["frames"], solved["frames"], strict=True):
        assert a["t_s"] == pytest.approx(b["t_s"])
        for part, off in (("east_arcsec", 0.3), ("north_arcsec", 0.3), ("rotation_arcsec", 40.0)):
            assert a["seen"][part] == pytest.approx(b["seen"][part], abs=off)


def test_other_rate_shows_as_excess() -> None:
    """At the solar rate stars would run 0.041 arcsec/s x cos(dec) to the west; the frames did not."""
    plain, solar = (
        checked(str(SAMPLES / "north_sweep"), "--check", str(SAMPLES / "tracked_only"), "--rate", rate)
        for rate in ("sidereal", "solar")
    )
    more = solar["excess_per_min"]["east_arcsec"] - plain["excess_per_min"]["east_arcsec"]
    declination = plain["target"]["declination_deg"]
    assert more == pytest.approx(60 * 0.041067 * np.cos(np.radians(declination)), rel=0.01)


def test_sequences_that_tell_nothing_are_refused(tmp_path: Path) -> None:
    for path in TRACKED[:3]:
        unsolved(path, tmp_path / path.name)
    two = tmp_path / "two"
    two.mkdir()
    for path in TRACKED[:2]:
        shutil.copy(path, two / path.name)
    cases = {
        str(tmp_path): "no solved frame",
        str(two): "3 or more",
        str(SAMPLES / "north_sweep"): "another field",
    }
    for sequence, words in cases.items():
        result = CliRunner().invoke(app, ["drift", str(SAMPLES / "north_sweep"), "--check", sequence])
        assert result.exit_code == 1
        assert words in " ".join(result.stderr.split())
        assert result.stdout == ""


def test_picture_shows_what_was_seen_beside_what_was_predicted(tmp_path: Path) -> None:
    picture = tmp_path / "check.png"
    arguments = [
        str(SAMPLES / "north_sweep"),
        "--check",
        str(SAMPLES / "tracked_only"),
        "--plot",
        str(picture),
    ]
    assert CliRunner().invoke(app, ["drift", *arguments]).exit_code == 0
    pixels = imread(picture)[..., :3]
    for colour in (STRONG, PALE):  # the dots of the frames, and the predicted lines
        near = np.abs(pixels - np.array(to_rgb(colour))).max(axis=-1) < 0.02
        assert near.sum() > 200, colour


def test_picture_that_cannot_be_kept_is_refused_before_the_work(tmp_path: Path) -> None:
    result = CliRunner().invoke(
        app, ["drift", str(tmp_path / "none"), "--check", str(tmp_path), "--plot", str(tmp_path / "x.gif")]
    )
    assert result.exit_code == 2
    assert "--plot" in result.stderr
