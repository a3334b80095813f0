"""Star lists: what was drawn is in them, in the order in which a solver wants it, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from polarcheck.stars import list_stars
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


def test_a_sky_cut_off_at_zero_is_not_blank_for_a_star_between_the_rows_looked_at() -> None:
    image = np.zeros((3000, 200))
    image[31:34, 100:103] = 900.0
    assert not list_stars(image).is_blank


def stars_at(places: np.ndarray, peaks: np.ndarray | float, size: tuple[int, int] = (600, 900)) -> np.ndarray:
    """A sky with a noise of 4 counts and stars of 3 px."""
    image = np.random.default_rng(11).normal(500, 4, size)
    y, x = np.mgrid[-9:10, -9:10]
    for (cx, cy), peak in zip(places, np.broadcast_to(peaks, len(places)), strict=True):
        image[cy - 9 : cy + 10, cx - 9 : cx + 10] += peak * np.exp(-(x**2 + y**2) / (2 * 1.3**2))
    return image


def lattice(columns: int, rows: int, step: int) -> np.ndarray:
    """Places `step` px apart. [px]"""
    x, y = np.meshgrid(12 + step * np.arange(columns), 12 + step * np.arange(rows))
    return np.stack([x.ravel(), y.ravel()], axis=-1)


@pytest.mark.parametrize(("peak", "least", "most"), [(14.0, 0, 3), (36.0, 40, 48)])
def test_a_star_stands_out_by_five_deviations_of_the_sky(peak: float, least: int, most: int) -> None:
    """Of 4 counts: 3.5 of them are noise, 9 are a star."""
    places = lattice(8, 6, 90)
    found = list_stars(stars_at(places, peak))
    near_one = (near(found.pixels, places) < 2).sum() if len(found) else 0
    assert least <= near_one <= most


@pytest.mark.parametrize(("drawn", "listed"), [(480, 480), (1050, 500)])
def test_a_solver_gets_500_stars_at_most(drawn: int, listed: int) -> None:
    """More slow a solver down and tell it nothing: common practice, no source."""
    places = lattice(35, 30, 24)[:drawn]
    assert len(list_stars(stars_at(places, 3000.0, (750, 900)))) == listed


@pytest.mark.parametrize(("length", "is_star"), [(4, True), (10, False), (60, False)])
def test_what_is_far_longer_than_the_stars_is_a_trail(length: int, is_star: bool) -> None:
    """Standard deviations of light along it: 1.3 px are a star's; three times that, and over 4 px, a satellite's."""
    image = stars_at(lattice(6, 5, 110), 3000.0)
    along = np.arange(-length, length + 1)
    for step in (-1, 0, 1):
        image[430 + step, 800 + along] += 3000 * np.exp(-(step**2) / 3)
    found = list_stars(image)
    assert bool((np.hypot(*(found.pixels - [800, 430]).T) < 5).any()) is is_star


@pytest.mark.parametrize(("width", "is_star"), [(2.9, True), (3.6, True), (8.5, False), (12.0, False)])
def test_what_is_far_wider_than_the_stars_is_a_glow(width: float, is_star: bool) -> None:
    """Four times the usual width: a galaxy's core or two stars in one pass, the Moon's ghost does not."""
    image = stars_at(lattice(6, 5, 90), 3000.0)
    y, x = np.mgrid[:600, :900]
    image += 3000 * np.exp(-((x - 760) ** 2 + (y - 300) ** 2) / (2 * width**2))
    found = list_stars(image)
    assert bool((np.hypot(*(found.pixels - [760, 300]).T) < 5).any()) is is_star


@pytest.mark.parametrize(("share", "is_full"), [(0.35, False), (0.45, False), (0.6, True), (0.9, True)])
def test_a_frame_of_which_most_is_at_the_largest_value_is_overexposed(share: float, is_full: bool) -> None:
    image = np.random.default_rng(12).normal(500, 4, (300, 400))
    image[:, : int(400 * share)] = 65535
    assert list_stars(image).is_overexposed is is_full


@pytest.mark.parametrize(("spread", "is_blank"), [(7e-7, True), (1.4e-6, False)])
def test_pixels_alike_to_a_millionth_are_blank(spread: float, is_blank: bool) -> None:
    """Single precision (24 bits, IEEE 754) tells a part of 6e-8: a millionth is a few roundings."""
    image = np.full((300, 400), 1000.0)
    image[::2] *= 1 + spread
    assert list_stars(image).is_blank is is_blank


def test_each_part_of_the_frame_counts_alike() -> None:
    """Eighty parts: of a crowd of bright stars in one and a faint one in each of the others, the first 80 hold all."""
    columns, rows = 11, 7  # 900 x 600 px in 80 squares, to whole ones
    x, y = np.meshgrid((np.arange(columns) + 0.5) * 900 / columns, (np.arange(rows) + 0.5) * 600 / rows)
    faint = np.stack([x.ravel(), y.ravel()], axis=-1).astype(int)[1:]
    crowd = lattice(3, 3, 24)
    image = stars_at(np.concatenate([crowd, faint]), np.repeat([9000.0, 2000.0], [len(crowd), len(faint)]))
    first = list_stars(image).pixels[: columns * rows]
    assert (near(faint, first) < 3).all()
    assert (near(first, faint) > 3).sum() == 1
