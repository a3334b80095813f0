"""Stars found in an image, and whose shape is trusted: at the limits of both."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from polarcheck.stars import StarTable, find_stars

NOISE = 10.0
SIGMA = 2.0  # px, of the stars' light
Place = tuple[float, float, float]  # x, y [px], peak [sky noise]


def drawn(
    *stars: Place, size: int = 200, sigma: float = SIGMA, noise: bool = True
) -> npt.NDArray[np.float64]:
    """An even sky with Gaussian stars."""
    y, x = np.mgrid[:size, :size]
    image = np.full((size, size), 1000.0)
    if noise:
        image += np.random.default_rng(4).normal(0, NOISE, (size, size))
    for cx, cy, peak in stars:
        image += peak * NOISE * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * sigma**2))
    return image


def star_at(table: StarTable, x: float, y: float) -> int | None:
    """Index of the star within 3 px of a place."""
    off = np.hypot(table.x_px - x, table.y_px - y)
    return int(np.argmin(off)) if len(off) and off.min() < 3 else None


def grid(peak: float) -> list[Place]:
    """Twenty-five stars of one brightness, well apart."""
    return [(20.0 + 40 * i, 20.0 + 40 * j, peak) for i in range(5) for j in range(5)]


@pytest.mark.parametrize(("peak", "least", "most"), [(3.7, 0, 2), (8.0, 22, 25)])
def test_a_star_stands_out_of_the_noise_by_five_deviations(peak: float, least: int, most: int) -> None:
    found = find_stars(drawn(*grid(peak)))
    assert least <= sum(star_at(found, x, y) is not None for x, y, _ in grid(peak)) <= most


@pytest.mark.parametrize(("peak", "least", "most"), [(13.0, 0, 1), (33.0, 24, 25)])
def test_the_shape_of_a_star_under_twenty_deviations_is_mostly_noise(
    peak: float, least: int, most: int
) -> None:
    assert least <= find_stars(drawn(*grid(peak))).has_shape.sum() <= most


@pytest.mark.parametrize(("apart", "is_whole"), [(6.0, False), (12.0, True), (15.0, True)])
def test_a_star_cut_by_the_edge_has_no_shape(apart: float, is_whole: bool) -> None:
    """Four standard deviations of its light, 8 px, hold all but 0.01 % of a Gaussian star each way."""
    found = find_stars(drawn((apart, 100.0, 500.0)))
    place = star_at(found, apart, 100.0)
    assert place is not None
    assert bool(found.has_shape[place]) is is_whole


@pytest.mark.parametrize(("apart", "is_alone"), [(14.5, False), (15.5, False), (18.0, True), (27.0, True)])
def test_a_star_within_another_ones_reach_spoils_its_shape(apart: float, is_alone: bool) -> None:
    """Twice four standard deviations, 16 px: nearer, the light of both runs together."""
    found = find_stars(drawn((100.0, 100.0, 900.0), (100.0 + apart, 100.0, 800.0)))
    place = star_at(found, 100.0, 100.0)
    assert place is not None
    assert bool(found.has_shape[place]) is is_alone


@pytest.mark.parametrize(("part", "is_alone"), [(0.018, True), (0.024, True), (0.04, False), (0.055, False)])
def test_a_faint_neighbour_hardly_spoils_a_shape(part: float, is_alone: bool) -> None:
    """A few hundredths of the light, within reach: 15 px, or 7.5 deviations of the light of both."""
    found = find_stars(drawn((100.0, 100.0, 500.0), (115.0, 100.0, 500.0 * part)))
    place = star_at(found, 100.0, 100.0)
    assert place is not None
    assert star_at(found, 115.0, 100.0) is not None
    assert bool(found.has_shape[place]) is is_alone


@pytest.mark.parametrize(("width", "is_star"), [(25.0, True), (34.0, True), (50.0, False), (60.0, False)])
def test_what_is_wider_than_forty_pixels_is_no_star(width: float, is_star: bool) -> None:
    """A nebula, the Moon's glow; beside it a star that is far brighter, so that it is not the flattest top."""
    image = drawn((380.0, 380.0, 400.0), size=760, sigma=width / 2.3548)
    image[:200, :200] += drawn((60.0, 60.0, 3000.0), noise=False) - 1000
    found = find_stars(image)
    place = star_at(found, 380.0, 380.0)
    assert (place is not None and bool(found.has_shape[place])) is is_star


@pytest.mark.parametrize(("alike", "is_clipped"), [(1, False), (4, False), (6, True), (9, True)])
def test_pixels_that_share_the_largest_value_show_where_counts_end(alike: int, is_clipped: bool) -> None:
    """Each is the sharp peak of a star of its own: four can be alike by chance of what was drawn, five hardly."""
    image = drawn(*grid(500.0))
    for i in range(alike):
        image[20 + 40 * (i % 5), 20 + 40 * (i // 5)] = 8000.0
    assert bool(find_stars(image).is_saturated.any()) is is_clipped


@pytest.mark.parametrize(
    ("pixels", "uneven", "is_flat"),
    [(4, 0.006, True), (5, 0.008, True), (4, 0.015, False), (5, 0.018, False), (2, 0.0, False)],
)
def test_a_star_flat_on_top_is_saturated(pixels: int, uneven: float, is_flat: bool) -> None:
    """Three pixels within a hundredth: where a well is full, its neighbours are filled from it."""
    image = drawn((100.0, 100.0, 500.0))
    around = [(0, 0), (0, 1), (1, 0), (0, -1), (-1, 0)][:pixels]
    for k, (i, j) in enumerate(around):
        image[100 + i, 100 + j] = 9000.0 * (1 - uneven * (k > 0))
    assert bool(find_stars(image).is_saturated.any()) is is_flat
