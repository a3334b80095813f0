"""Star lists: what was drawn is in them, in the order in which a solver wants it, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from polarcheck.stars import list_stars
from polarcheck.stars.rows import in_a_row
from tests.solvers import star_field

SIZE = (900, 600)


def near(listed: np.ndarray, drawn: np.ndarray) -> np.ndarray:
    """How far each listed star is from the nearest drawn one. [px]"""
    return np.asarray(cKDTree(drawn).query(listed)[0])


@pytest.mark.parametrize("fwhm_px", [2.0, 3.5, 6.0])
def test_drawn_stars_are_listed_where_they_are(fwhm_px: float) -> None:
    image, places = star_field(SIZE, 120, fwhm_px)
    found = list_stars(image)
    off = near(found.pixels, places)
    assert len(found) >= 110
    assert np.median(off) < 0.05
    assert (off > 3).sum() <= 2  # two drawn stars that touch are one


def test_trail_and_hot_pixels_are_left_out() -> None:
    image, places = star_field(SIZE, 80, 3.0, seed=5)
    rng = np.random.default_rng(6)
    hot = rng.integers(0, image.size, 300)
    image.ravel()[hot] = 60_000
    columns = np.arange(SIZE[0])
    rows = (100 + 0.4 * columns).astype(int)
    for step in (-1, 0, 1):
        image[rows + step, columns] = 9_000
    found = list_stars(image)
    off = near(found.pixels, places)
    assert len(found) >= 65
    assert (off > 5).sum() <= 2


def test_pieces_of_a_trail_in_the_noise_are_no_stars() -> None:
    """A satellite as faint as the threshold breaks up into hundreds of pieces; stars stay, also those it crosses."""
    rng = np.random.default_rng(11)
    image, places = star_field((1500, 1000), 60, 3.0, seed=10)
    y, x = np.mgrid[:1000, :1500]
    trailed = image + 4 * 5.0 * np.exp(-((y - 300 - 0.31 * x) ** 2) / 2 / 1.4**2)
    trailed = np.rint(trailed + rng.normal(0, 1, image.shape))
    off = near(list_stars(trailed).pixels, places)
    assert (off < 1).sum() >= 55
    assert (off > 3).sum() <= 8


def test_stars_at_random_lie_in_no_row() -> None:
    rng = np.random.default_rng(12)
    for count in (30, 300, 1000):
        assert not in_a_row(rng.uniform(0, [3000, 2000], (count, 2)), 3606.0).any()
    grid = np.stack(np.meshgrid(np.arange(0, 3000, 150), np.arange(0, 2000, 120)), axis=-1).reshape(-1, 2)
    assert not in_a_row(grid + rng.normal(0, 1, grid.shape), 3606.0).any()


def test_list_begins_with_the_brightest_of_all_parts_of_the_frame() -> None:
    rng = np.random.default_rng(7)
    y, x = np.mgrid[:600, :900]
    image = rng.normal(500, 4, (600, 900))
    crowd = np.column_stack(
        [rng.uniform(20, 200, 60), rng.uniform(20, 180, 60)]
    )  # bright ones, all in one corner
    wide = np.column_stack([rng.uniform(220, 880, 40), rng.uniform(20, 580, 40)])
    for places, peak in ((crowd, 8000), (wide, 2000)):
        for cx, cy in places:
            image += peak * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / 3)
    first = list_stars(image).pixels[:30]
    assert (first[:, 0] > 210).sum() >= 15


def test_blank_and_full_images_are_told_apart_from_dark_ones() -> None:
    dark = np.random.default_rng(8).normal(500, 4, (300, 400))
    for image, blank, full in (
        (np.full((300, 400), 7.0), True, False),
        (np.full((300, 400), np.nan), True, False),
        (np.where(dark > 497, 65535, 60000), False, True),
        (dark, False, False),
    ):
        found = list_stars(image)
        assert (found.is_blank, found.is_overexposed, len(found)) == (blank, full, 0)
