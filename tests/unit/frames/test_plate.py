"""Our own form of a solution, against astropy.wcs as another reader and writer of TAN and SIP."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from astropy.wcs import WCS

from polarcheck.errors import InputError
from polarcheck.frames import (
    Plate,
    SolutionNotes,
    fit_plate,
    may_write_solution,
    read_engine_solution,
    sensor_grid,
    solution_path,
    write_solution,
)
from tests.fits_files import SIP, TAN, header, write_image
from tests.fits_files import write_solution as write_foreign
from tests.helpers import DEG, icrs

WIDTH, HEIGHT = 3000, 2000
WIDE = {**SIP, "CRPIX1": 1400.0, "CRPIX2": 1100.0, "CRVAL2": 88.0, "CD1_1": -8 / 3600, "CD2_2": 8 / 3600}
WIDE |= {key: value * 1e-2 for key, value in SIP.items() if key[:2] in ("A_", "B_") and "ORDER" not in key}
STEREOGRAPHIC = {**TAN, "CTYPE1": "RA---STG", "CTYPE2": "DEC--STG", "CRPIX1": 1500.0, "CRPIX2": 1000.0}


def plate_of(cards: dict[str, object], width: int = WIDTH, height: int = HEIGHT) -> Plate:
    grid = sensor_grid(width, height)
    ra, dec = WCS(header(cards), fix=False).all_pix2world(grid, 0).T * DEG
    return fit_plate(grid, icrs(ra, dec), width, height)


@pytest.mark.parametrize(
    "cards", [WIDE, STEREOGRAPHIC], ids=["off-centre SIP near the pole", "another projection"]
)
def test_written_plate_is_the_solution_that_it_was_fitted_to(
    cards: dict[str, object], tmp_path: Path
) -> None:
    path = tmp_path / "x.wcs"
    write_solution(path, plate_of(cards), SolutionNotes("some solver", history=("a" * 200, "\x1b[31mred é")))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of an image without axes
        ours, theirs = WCS(fits.getheader(path)), WCS(header(cards))
    pixels = np.random.default_rng(2).uniform([0, 0], [WIDTH, HEIGHT], (200, 2))
    sky = theirs.all_pix2world(pixels, 0)
    assert ours.all_world2pix(sky, 0) == pytest.approx(
        pixels, abs=0.01
    )  # the promise is 0.005 px on the grid
    # the way back by its own polynomial, which programs use that do not iterate
    assert ours.sip_foc2pix(ours.sip_pix2foc(pixels, 0) + [1499.5, 999.5], 0) is not None
    assert ours.wcs_world2pix(sky, 0).shape == pixels.shape
    assert read_engine_solution(path, (WIDTH, HEIGHT)).pixels_from_icrs(
        icrs(*(sky.T * DEG))
    ) == pytest.approx(pixels, abs=0.01)


def test_only_our_own_solutions_are_written_over(tmp_path: Path) -> None:
    plate = plate_of(WIDE)
    ours, theirs = tmp_path / "ours.wcs", write_foreign(tmp_path / "theirs.wcs")
    empty = tmp_path / "empty.wcs"
    empty.touch()
    for path in (ours, ours, empty):
        write_solution(path, plate, SolutionNotes("some solver"))
    content = theirs.read_bytes()
    assert not may_write_solution(theirs)
    with pytest.raises(InputError, match="not made by polarcheck"):
        write_solution(theirs, plate, SolutionNotes("some solver"))
    assert theirs.read_bytes() == content


def test_solvers_own_solution_stands_beside_as_an_alternate_description(tmp_path: Path) -> None:
    """FITS Standard 4.0, section 8.2.1 (from memory): a letter after the keyword; astropy.wcs reads it by that key."""
    path = tmp_path / "x.wcs"
    write_solution(path, plate_of(WIDE), SolutionNotes("some solver", engine_plate=plate_of(STEREOGRAPHIC)))
    other = fits.getheader(path)
    other["NAXIS"] = 2
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = WCS(other, key="A")
    assert found.wcs.crval[1] == pytest.approx(40, abs=0.001)


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("a.fits", "a.wcs"),
        ("a.b.fit.gz", "a.b.wcs"),
        ("a.FTS", "a.wcs"),
        ("a.fits.fz", "a.wcs"),
        ("a.jpg", "a.jpg.wcs"),
    ],
)
def test_name_of_a_solution(name: str, kept: str, tmp_path: Path) -> None:
    assert solution_path(tmp_path / name).name in (kept, "a.wcs")
    assert solution_path(tmp_path / name, tmp_path / "other").parent == tmp_path / "other"


def test_solution_that_lies_beside_keeps_its_name(tmp_path: Path) -> None:
    image = write_image(tmp_path / "a.fits")
    write_foreign(tmp_path / "a.fits.wcs")
    assert solution_path(image) == tmp_path / "a.fits.wcs"


@pytest.mark.parametrize(("left_px", "order"), [(0.0, 2), (0.004, 2), (0.008, 3)])
def test_order_is_raised_where_a_two_hundredth_of_a_pixel_is_at_stake(left_px: float, order: int) -> None:
    """What a cubic term along a side leaves of the best straight line, by scipy's sibling numpy.polyfit.

    Stars are measured to a tenth of a pixel at best, and some tens of them to a hundredth on the mean.
    """
    grid = sensor_grid(WIDTH, HEIGHT)
    x = (grid[:, 0] - (WIDTH - 1) / 2) / (WIDTH / 2)
    cubic = x**3 - np.polyval(np.polyfit(x, x**3, 1), x)
    moved = grid + np.stack([cubic / np.abs(cubic).max() * left_px, np.zeros_like(x)], axis=-1)
    ra, dec = (
        WCS(header({**TAN, "CRPIX1": 1500.0, "CRPIX2": 1000.0}), fix=False).all_pix2world(moved, 0).T * DEG
    )
    assert fit_plate(grid, icrs(ra, dec), WIDTH, HEIGHT).forward.shape == (2, order + 1, order + 1)


def test_highest_order_is_the_fifth() -> None:
    """A stereographic lens of 3 deg a side or more needs it; solvers write no higher one as a rule (common practice)."""
    wide = {**STEREOGRAPHIC, "CD1_1": -60 / 3600, "CD2_2": 60 / 3600}
    assert plate_of(wide).forward.shape == (2, 6, 6)


@pytest.mark.parametrize(("more", "ours"), [(700_000, True), (1_500_000, False)])
def test_own_solution_is_small(tmp_path: Path, more: int, ours: bool) -> None:
    """A header of a few kilobytes; what has a megabyte behind it is somebody's image."""
    path = tmp_path / "x.wcs"
    write_solution(path, plate_of(TAN), SolutionNotes("some solver"))
    assert may_write_solution(path)
    path.write_bytes(path.read_bytes() + bytes(more))
    assert may_write_solution(path) is ours
