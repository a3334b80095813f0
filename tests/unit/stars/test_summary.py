"""What the stars of a frame say together: at the limits of what few or small or scattered stars can tell."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.stars import summarise
from tests.star_tables import anywhere, star_table


def scattered(count: int, scatter: float) -> np.ndarray:
    """Widths of 3 px with a scatter that is the same by their median deviation and by their standard deviation."""
    from scipy.stats import norm

    return 3.0 * (1 + scatter * norm.ppf((np.arange(count) + 0.5) / count))


@pytest.mark.parametrize(("scatter", "is_known"), [(0.05, True), (0.10, True), (0.18, False), (0.30, False)])
def test_a_width_is_known_within_two_percent_or_not_at_all(scatter: float, is_known: bool) -> None:
    """The standard error of a median of n normal values is 1.2533 of their deviation over root n: 2 % of 60 at 12 %."""
    table = star_table(anywhere(60), across=scattered(60, scatter))
    assert (summarise(table).fwhm_px is not None) is is_known


@pytest.mark.parametrize(("width", "is_known"), [(0.9, False), (1.4, False), (1.7, True), (3.0, True)])
def test_stars_hardly_wider_than_a_pixel_have_no_width(width: float, is_known: bool) -> None:
    """Integrated over a pixel, a Gaussian star of FWHM 1.58 px has 1/12 px2 of variance more: its FWHM grows by 9 %."""
    assert (summarise(star_table(anywhere(40), across=width)).fwhm_px is not None) is is_known


@pytest.mark.parametrize(("count", "is_known"), [(3, False), (4, False), (6, True)])
def test_fewer_than_five_stars_have_no_width(count: int, is_known: bool) -> None:
    assert (summarise(star_table(anywhere(count))).fwhm_px is not None) is is_known


@pytest.mark.parametrize(
    ("count", "found", "is_known"),
    [(8, 100, True), (8, 240, False), (9, 140, True), (16, 1000, True), (10, 1000, False)],
)
def test_a_handful_of_many_stars_are_exceptions(count: int, found: int, is_known: bool) -> None:
    """Fewer than twelve widths tell nothing where they are less than a twentieth of the stars."""
    across = np.where(np.arange(found) < count, 3.0, np.nan)
    assert (summarise(star_table(anywhere(found), across=across)).fwhm_px is not None) is is_known


@pytest.mark.parametrize(("count", "is_known"), [(15, False), (30, True)])
def test_of_fewer_than_twenty_stars_one_that_differs_counts(count: int, is_known: bool) -> None:
    """A median deviation does not see one star of 1.5 the width; few stars may have come out alike by luck."""
    across = np.full(count, 3.0)
    across[3] = 4.5
    assert (summarise(star_table(anywhere(count), across=across)).fwhm_px is not None) is is_known


@pytest.mark.parametrize(("trail", "is_told"), [(0.2, False), (0.4, False), (0.6, True), (2.0, True)])
def test_a_trail_under_half_a_pixel_is_told_from_nothing(trail: float, is_told: bool) -> None:
    table = star_table(anywhere(40), trail=trail, elongation=1.1, angle=20.0)
    assert (summarise(table).trail_px is not None) is is_told


@pytest.mark.parametrize(
    ("elongation", "trail", "has_moved"),
    [(1.2, 1.5, False), (1.25, 3.4, False), (1.4, 1.5, True), (1.25, 3.8, True), (1.25, 8.0, True)],
)
def test_all_stars_long_alike_have_moved(elongation: float, trail: float, has_moved: bool) -> None:
    """By 1.3 in elongation, or a trail of 1.2 widths (of 3 px), where wings hide the elongation."""
    table = star_table(anywhere(40), trail=trail, elongation=elongation, angle=20.0)
    assert summarise(table).has_moved is has_moved


@pytest.mark.parametrize(("spread", "has_moved"), [(10.0, True), (15.0, True), (25.0, False), (40.0, False)])
def test_stars_long_in_many_directions_have_not_moved(spread: float, has_moved: bool) -> None:
    """Half to each side by the spread [deg]: they agree by the cosine of twice that, 0.87 at 15 and 0.64 at 25."""
    angle = np.where(np.arange(60) % 2 == 0, 50 + spread, 50 - spread)
    table = star_table(anywhere(60), trail=6.0, elongation=1.8, angle=angle)
    assert summarise(table).has_moved is has_moved


def test_the_500_brightest_stars_count() -> None:
    """What is fainter is mostly noise in a frame with so many: 500 wide ones, then 700 narrow ones."""
    across = np.where(np.arange(1200) < 500, 4.0, 3.0)
    summary = summarise(star_table(anywhere(1200), across=across))
    assert (summary.stars, summary.shaped) == (1200, 500)
    assert summary.fwhm_px == pytest.approx(4.0)
    assert summarise(star_table(anywhere(420))).shaped == 420


def test_the_map_has_three_rows_of_four_cells() -> None:
    """Rows from the lowest y: a star in each cell, of a width of its own."""
    x, y = np.meshgrid((np.arange(4) + 0.5) * 300, (np.arange(3) + 0.5) * 300)
    width = 2.0 + np.arange(12) / 10
    found = summarise(star_table(np.stack([x.ravel(), y.ravel()], axis=-1), across=width)).map_fwhm_px
    assert found == pytest.approx(width.reshape(3, 4))
