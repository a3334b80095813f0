"""Large images, whose stars are looked for in blocks first: drawn stars are found there as in small images."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree
from scipy.stats import norm

from polarcheck.stars import list_stars
from polarcheck.stars.blocks import bright_groups_by_blocks, is_large
from polarcheck.stars.finding import Groups, Sky, sky_of
from polarcheck.stars.mosaic import one_plane
from tests.drawn_stars import draw

SHAPE = (2602, 3303)  # no whole number of blocks
NOISE = 12.0


def drawn(fwhm: float = 2.5, count: int = 300, **more: object) -> tuple[np.ndarray, np.ndarray]:
    image, x, y = draw(SHAPE, count, fwhm, noise=NOISE, peak=(200.0, 30_000.0), seed=3, **more)  # type: ignore[arg-type]
    return image, np.column_stack([x, y])


def spoilt(image: np.ndarray, *, top: float = 65_535.0) -> np.ndarray:
    """With a sky that slopes and darkens to the corners, hot pixels, a satellite's trail, and full pixels."""
    rng = np.random.default_rng(4)
    y, x = np.mgrid[-1 : 1 : image.shape[0] * 1j, -1 : 1 : image.shape[1] * 1j]
    image = image * (1 - 0.15 * (x * x + y * y)) + 800 * x
    image.ravel()[rng.integers(0, image.size, 3000)] += rng.exponential(20_000, 3000)
    columns = np.arange(image.shape[1])
    rows = (700 + 0.3 * columns).astype(int)
    for step in (-1, 0, 1):
        image[rows + step, columns] += 20 * NOISE
    return np.asarray(np.minimum(image, top), dtype=np.float32)


def check(image: np.ndarray, places: np.ndarray, *, found: float, within_px: float = 0.1) -> None:
    """What is listed are the drawn stars, nearly all of them, where they were drawn."""
    listed = list_stars(image)
    off = cKDTree(places).query(listed.pixels)[0]
    assert is_large(image)
    assert len(listed) >= found * len(places)
    assert (off > 3).sum() <= 0.02 * len(places)
    assert np.median(off) < within_px


@pytest.mark.parametrize(("fwhm", "found"), [(1.6, 0.85), (2.5, 0.9), (6.0, 0.9)])
def test_stars_of_a_large_image_are_listed_where_they_are(fwhm: float, found: float) -> None:
    image, places = drawn(fwhm)
    check(spoilt(image), places, found=found)


def test_stars_of_a_large_colour_mosaic_are_listed() -> None:
    tint = np.tile([[0.5, 1.0], [1.0, 0.7]], (SHAPE[0] // 2 + 1, SHAPE[1] // 2 + 1))[: SHAPE[0], : SHAPE[1]]
    image, places = drawn(3.0, tint=tint)
    check(spoilt(image * tint), places, found=0.85)


def test_full_pixels_and_eight_bits_cost_no_star() -> None:
    image, places = drawn(3.0)
    check(spoilt(image, top=8000.0), places, found=0.9)
    check(np.rint(spoilt(image, top=8000.0) / 8000 * 255), places, found=0.7)


def test_pixels_that_are_no_numbers_cost_only_what_lies_under_them() -> None:
    image, places = drawn(3.0)
    image = spoilt(image)
    image[1800:] = np.nan
    x, y = places.T
    inside = y < 1780
    beside = np.flatnonzero(inside)[:4]
    for column in np.rint(x[beside]).astype(int) + 6:
        image[:, column] = np.nan  # in blocks that hold light of the star
    listed = list_stars(image)
    off = cKDTree(places).query(listed.pixels)[0]
    assert len(listed) >= 0.9 * inside.sum()
    assert (off > 3).sum() <= 6
    assert (cKDTree(listed.pixels).query(places[beside])[0] < 0.5).all()


def test_few_stars_are_looked_for_in_all_pixels() -> None:
    """A star on the corner of four blocks shows five times above the noise in its pixels and hardly in its blocks."""
    rng = np.random.default_rng(6)
    image = (1000 + NOISE * rng.standard_normal(SHAPE)).astype(np.float32)
    places = np.array([[400 * k - 1, 300 * k - 1] for k in range(1, 7)])
    for column, row in places:
        image[row : row + 2, column : column + 2] = 1000 + 7 * NOISE
    plane = one_plane(image)
    assert len(bright_groups_by_blocks(plane.pixels, sky_of(plane), 5.0).x) < len(places)
    assert len(list_stars(image)) == len(places)


def test_in_an_image_that_is_not_large_all_pixels_are_looked_at() -> None:
    """Six megapixels, as guide cameras and halved frames have: no star is lost on a corner of blocks."""
    rng = np.random.default_rng(7)
    image = (1000 + NOISE * rng.standard_normal((2000, 3000), dtype=np.float32)).astype(np.float32)
    places = np.array([[400 * k - 1, 300 * j - 1] for k in range(1, 7) for j in range(1, 7)])
    for k, (column, row) in enumerate(places):
        image[row : row + 2, column : column + 2] += (9 if k % 3 else 200) * NOISE
    assert len(list_stars(image)) >= len(places) - 1


def even_sky(noise: float) -> Sky:
    return Sky(np.full((1, 1), 1000.0), np.zeros(1), np.zeros(1), noise)


def test_stars_on_corners_of_blocks_are_seen() -> None:
    """Of a star of 2.5 px that is 10 deviations high in its middle, 71 of a pixel's are light. A quarter of it on each
    of four blocks of 4 px adds 1.1 to their mean, whose own deviation is a quarter.
    """
    rng = np.random.default_rng(8)
    image = (1000 + NOISE * rng.standard_normal((640, 800))).astype(np.float32)
    middles = np.array([[24 + 48 * k, 24 + 48 * j] for k in range(16) for j in range(13)])
    y, x = np.mgrid[-7.5:8, -7.5:8]
    for column, row in middles:
        star = np.exp(-(x**2 + y**2) / 2 / 1.06**2)
        image[row - 8 : row + 8, column - 8 : column + 8] += 10 * NOISE * star
    groups = bright_groups_by_blocks(image, even_sky(NOISE), 5.0)
    off = cKDTree(np.column_stack([groups.x, groups.y])).query(middles - 0.5)[0]
    assert (off < 1.0).mean() > 0.95


def test_noise_alone_makes_few_blocks_stand_out() -> None:
    """Three deviations: one block in 741 by chance (normal distribution), which with its eight neighbours is looked at.

    Of the pixels there 31 % are half a deviation above the sky, as of all.
    """
    image = np.random.default_rng(9).normal(1000, NOISE, (1200, 1600)).astype(np.float32)
    seen = bright_groups_by_blocks(image, even_sky(NOISE), 0.5)
    assert seen.size.sum() / image.size == pytest.approx(9 * norm.sf(3) * norm.sf(0.5), rel=0.4)


def crowd(brightness: np.ndarray) -> Groups:
    """What is found of stars of four pixels, each in the middle of a block of its own, shape (320, 250). [count]"""
    image = np.random.default_rng(10).normal(1000, 1.0, (2560, 3000)).astype(np.float32)
    for row in (1, 2):
        for column in (1, 2):
            image[row::8, column::12] += brightness
    return bright_groups_by_blocks(image, even_sky(1.0), 5.0)


def test_in_a_crowd_no_more_than_a_million_pixels_are_looked_at() -> None:
    """Of 80 000 stars the 60 000 brightest: a hundred for each that a solver gets, and 16 pixels for each."""
    found = crowd(np.random.default_rng(11).uniform(100, 20_000, (320, 250)))
    assert len(found.x) == pytest.approx(60_000, rel=0.03)
    assert found.peak.min() > 3000  # the quarter that is left out ends at 5000, in one part sooner


def test_a_crowd_leaves_stars_in_all_parts_of_a_large_image() -> None:
    """Where too much stands out, the brightest of each part count, and not those of the richest part alone."""
    found = crowd(np.repeat([50.0, 5000.0], [25, 225]))
    assert (found.x < 12 * 25).mean() == pytest.approx(0.1, abs=0.03)
