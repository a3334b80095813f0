"""Second moments of stars against those that were drawn, and which stars are measured at what cost."""

from __future__ import annotations

import cProfile
import pstats
import tracemalloc

import numpy as np
import numpy.typing as npt
import pytest

from polarcheck.stars import find_stars
from polarcheck.stars.finding import Groups, Sky
from polarcheck.stars.shapes import Shapes, measure_shapes
from tests.drawn_stars import FWHM_PER_SIGMA

SIZE = 400
X, Y = np.meshgrid(np.arange(SIZE), np.arange(SIZE))
SKY = Sky(np.full((1, 1), 1000.0), np.zeros(1), np.zeros(1), 1.0)
MIDDLE = (200.3, 199.8)


def star(sigma: float, at: tuple[float, float] = MIDDLE, peak: float = 5000.0) -> npt.NDArray[np.float64]:
    return peak * np.exp(-((X - at[0]) ** 2 + (Y - at[1]) ** 2) / 2 / sigma**2)


def trail(length: float, sigma: float) -> npt.NDArray[np.float64]:
    """Even, along x."""
    steps = np.arange(0.25, length, 0.5) - length / 2
    along = np.exp(-((X[0] - MIDDLE[0] - steps[:, None]) ** 2) / 2 / sigma**2).sum(axis=0)
    return np.outer(500 * np.exp(-((Y[:, 0] - MIDDLE[1]) ** 2) / 2 / sigma**2), along)


def measured(light: npt.NDArray[np.float64], xx: float, yy: float | None = None, copies: int = 1) -> Shapes:
    """Shape of what lies in the middle, as often as asked for; its bright pixels have these moments. [px^2]"""
    one = np.ones(copies)
    spread = np.tile(np.diag([xx, xx if yy is None else yy]), (copies, 1, 1))
    groups = Groups(one * 200, one * 200, np.full(copies, 50), one * 5000, np.arange(copies, 0, -1.0), spread)
    return measure_shapes((1000 + light).astype(np.float32), SKY, groups)


def shaped(found: Shapes) -> int:
    return int(np.isfinite(found.moments).all(axis=1).sum())


@pytest.mark.parametrize("sigma", [1.5, 3.0, 6.0])
@pytest.mark.parametrize("shown", [1.0, 0.2])
def test_moments_are_the_stars_however_little_of_it_stands_out(sigma: float, shown: float) -> None:
    """Of a faint star the pixels above the noise have a part of its moments. A Gaussian's moments beyond four deviations
    are 0.3 % (incomplete gamma function), and the sky around takes a little.
    """
    found = measured(star(sigma), shown * sigma**2)
    assert found.moments[0] / sigma**2 == pytest.approx([1, 0, 1], abs=0.01)


def test_what_lies_beyond_four_deviations_does_not_count() -> None:
    """A neighbour with a twentieth of the light, six deviations away: of it a fiftieth lies within four (normal
    distribution), and would add 16 times its part of the light to the moments of 1.
    """
    found = measured(star(3.0) + star(3.0, (MIDDLE[0] + 18, MIDDLE[1]), 250.0), 9.0)
    assert found.moments[0] / 9 == pytest.approx([1, 0, 1], abs=0.03)


def test_what_grows_without_end_is_given_up_soon() -> None:
    """A slope of light, as the glow of the Moon at the edge: its ellipse grows in each round."""
    glow = cProfile.Profile()
    glow.runcall(measured, 0.02 * (X - 200.0) ** 2, 4.0)
    rounds = [calls[0] for name, calls in pstats.Stats(glow).stats.items() if name[2] == "squared_distance"]  # type: ignore[attr-defined]
    assert rounds[0] <= 6


@pytest.mark.parametrize(("length", "sigma"), [(60.0, 2.0), (95.0, 2.0)])
def test_a_trail_that_fits_into_a_window_has_its_own_moments(length: float, sigma: float) -> None:
    """Those of an even line of this length, L^2 / 12, and of a star across. What stands out ends where it is half as bright:
    across that has two thirds of the moments or less.
    """
    found = measured(trail(length, sigma), length**2 / 12, 0.5 * sigma**2)
    assert found.moments[0, 0] == pytest.approx(length**2 / 12 + sigma**2, rel=0.02)
    assert found.moments[0, 2] == pytest.approx(sigma**2, rel=0.03)


def test_many_wide_stars_take_no_more_room_than_a_few() -> None:
    """Pixels of 80 000 at once, some fifteen numbers of double precision for each: 10 MB."""
    tracemalloc.start()
    measured(star(11.0), 121.0, copies=60)
    taken = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert taken < 14e6


def test_the_shapes_of_six_hundred_stars_are_enough() -> None:
    """The median of 600 is known to a twentieth of their scatter."""
    assert shaped(measured(star(1.5), 2.25, copies=1300)) == pytest.approx(600, rel=0.05)


def test_of_the_widest_stars_thirty_or_so_are_measured() -> None:
    """Each takes 80 000 pixels, two and a half million of which take about a second; the brightest tell as much."""
    found = measured(star(25.0), 900.0, copies=80)
    assert 22 <= shaped(found) <= 45
    assert np.isfinite(found.moments[:22]).all()


def field(fwhm: float, length: float) -> npt.NDArray[np.float64]:
    """Nine stars with trails along x, noise, and a sharp star at the edge that is the brightest by far."""
    sigma = fwhm / FWHM_PER_SIGMA
    steps = (np.arange(0.25, length, 0.5) - length / 2) if length else np.zeros(1)
    one = np.exp(-((np.arange(200.0) - 100 - steps[:, None]) ** 2) / 2 / sigma**2).mean(axis=0)
    image = np.random.default_rng(5).normal(1000, 3, (600, 600))
    image += np.tile(np.outer(3000 * np.exp(-((np.arange(200.0) - 100) ** 2) / 2 / sigma**2), one), (3, 3))
    image[:8, :8] += 30_000 * np.exp(-((np.arange(8) - 4.0) ** 2 + (np.arange(8)[:, None] - 4.0) ** 2) / 4)
    return image


@pytest.mark.parametrize(("fwhm", "length"), [(7.5, 12.0), (9.0, 0.0), (16.0, 0.0), (21.0, 0.0)])
def test_widths_of_large_stars_are_known(fwhm: float, length: float) -> None:
    """Those of fits as long as they can be had, since only fits know a trail from a width; of larger stars the peak's."""
    found = find_stars(field(fwhm, length))
    assert found.has_shape.sum() == 9
    assert found.across_px[found.has_shape] == pytest.approx(np.full(9, fwhm), rel=0.03)
