"""Large images, whose stars are looked for in blocks first: drawn stars are found there as in small images."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from polarcheck.stars import list_stars
from polarcheck.stars.blocks import bright_groups_by_blocks, is_large
from polarcheck.stars.finding import sky_of
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


def test_a_crowd_leaves_stars_in_all_parts_of_a_large_image() -> None:
    """Where too much stands out, the brightest of each part count, and not those of the richest part alone."""
    image, places = draw(SHAPE, 60_000, 2.5, noise=NOISE, peak=(60.0, 20_000.0), seed=8)[0], None
    rest, x, y = draw((SHAPE[0], 1500), 150, 2.5, noise=NOISE, peak=(200.0, 800.0), seed=9)
    image[:, :1500] = rest
    places = np.column_stack([x, y])
    listed = list_stars(image)
    left = listed.pixels[listed.pixels[:, 0] < 1500]
    off = cKDTree(places).query(left)[0]
    assert len(left) >= 0.8 * len(places)
    assert (off > 3).sum() <= 5
