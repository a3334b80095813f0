"""Profiles fitted to drawn stars: their widths, and the limits of what is fitted at all."""

from __future__ import annotations

import cProfile
import pstats

import numpy as np
import numpy.typing as npt
import pytest

from polarcheck.stars.profiles import Cut, Form, fit_profiles, windows_for, wings_of
from tests.drawn_cameras import profile
from tests.drawn_stars import FWHM_PER_SIGMA

Array = npt.NDArray[np.float64]


def drawn(half: int, fwhm: float, beta: float | None = None, at: tuple[float, float] = (0.3, -0.2)) -> Array:
    """A star of height 1, integrated over the pixels."""
    span = np.arange(-half, half + 1)
    return profile(span - at[0], span - at[1], fwhm, 0.0, 0.0, beta)


def cut(light: Array, sigma: float, start: tuple[float, float] = (0.3, -0.2)) -> Cut:
    """Windows with stars, shape (n, s, s), and the first guess of their width and places."""
    count = len(light)
    form = Form(np.zeros(count), np.zeros(count), np.full(count, sigma))
    return Cut(light, np.ones(light.shape, dtype=bool), np.tile(start, (count, 1)), form)


def width(
    light: Array, fwhm: float, wings: float | None = None, start: tuple[float, float] = (0.3, -0.2)
) -> float:
    """Of one star, from a first guess that is right."""
    return float(fit_profiles(cut(light[None], fwhm / FWHM_PER_SIGMA, start), wings)[0])


@pytest.mark.parametrize("fwhm", [1.6, 2.0])
def test_pixels_that_integrate_and_pixels_that_sample_are_as_wrong_as_each_other(fwhm: float) -> None:
    """An even pixel of side 1 adds 1/12 to the variance. Which kind a frame has it does not tell: half is taken off."""
    dx = np.arange(-8, 9) - 0.3
    sampled = np.exp(-4 * np.log(2) * (dx**2 + (dx[:, None] + 0.5) ** 2) / fwhm**2)
    half = (fwhm / FWHM_PER_SIGMA) ** 2 + np.array([1, -1]) / 24
    expected = FWHM_PER_SIGMA * np.sqrt(half)
    assert width(drawn(8, fwhm), fwhm) == pytest.approx(expected[0], rel=0.015)
    assert width(sampled, fwhm) == pytest.approx(expected[1], rel=0.015)


@pytest.mark.parametrize("beta", [2.1, 2.5, 3.2, 5.0, 6.0])
@pytest.mark.parametrize("fwhm", [3.0, 5.0])
def test_wings_are_told_by_the_stars_themselves(fwhm: float, beta: float) -> None:
    """Moffat profiles, with a noise of a thousandth of their height."""
    half = round(1.8 * fwhm) + 1
    noise = np.random.default_rng(2).normal(0, 1e-3, (40, 2 * half + 1, 2 * half + 1))
    some = cut(drawn(half, fwhm, beta) + noise, fwhm / FWHM_PER_SIGMA * 1.2)
    found = np.median(fit_profiles(some, wings_of(some).index))
    assert found == pytest.approx(
        fwhm, rel=0.012 if fwhm > 4 else 0.025
    )  # the pixel is 1.7 % of 3 px in doubt


@pytest.mark.parametrize("beta", [2.0, 2.5, 2.9, 3.5, 4.5, 6.0])
def test_widths_of_large_stars_are_right_to_half_a_hundredth_from_few_wings_to_many(beta: float) -> None:
    """Seeing and optics give indices of 2 to 6 (from memory); with one step more between them it is a hundredth."""
    noise = np.random.default_rng(2).normal(0, 1e-3, (40, 31, 31))
    some = cut(drawn(15, 8.0, beta) + noise, 8.0 / FWHM_PER_SIGMA * 1.2)
    found = np.median(fit_profiles(some, wings_of(some).index))
    assert found == pytest.approx(8.0, rel=0.006)


@pytest.mark.parametrize("brightest_are_right", [True, False])
def test_the_two_dozen_brightest_stars_tell_the_wings(brightest_are_right: bool) -> None:
    """A third of them may be spoilt, as by a full well; faint ones by the noise, however many they are."""
    right, spoilt = drawn(10, 4.0, 2.5), drawn(10, 4.0)
    order = [right] * 18 + [spoilt] * 60 if brightest_are_right else [spoilt] * 8 + [right] * 52
    light = np.array(order) * np.linspace(3, 2, len(order))[:, None, None]
    light += 1e-4 * np.random.default_rng(3).normal(size=light.shape)
    assert wings_of(cut(light, 1.9)).index == 2.5


@pytest.mark.parametrize(("off_px", "is_star"), [(0.0, True), (1.2, True), (2.2, False), (3.0, False)])
def test_a_star_far_from_where_it_was_seen_is_another(off_px: float, is_star: bool) -> None:
    """Centres of light are right to a part of a pixel even in a crowd; half a width is far."""
    found = width(drawn(12, 4.0), 4.0, start=(0.3 + off_px, -0.2))
    assert (found == pytest.approx(4.0, rel=0.03)) if is_star else np.isnan(found)


@pytest.mark.parametrize("guess", [0.5, 0.7, 1.5, 2.5])
@pytest.mark.parametrize("beta", [None, 2.5])
def test_a_width_is_found_from_a_poor_guess(guess: float, beta: float | None) -> None:
    """Second moments of faint stars or of winged ones are wrong by as much."""
    some = cut(drawn(20, 4.0, beta)[None], 4.0 / FWHM_PER_SIGMA * guess, (0.8, 0.2))
    assert fit_profiles(some, beta)[0] == pytest.approx(4.0, rel=0.02)


def test_a_fit_of_nothing_ends_soon() -> None:
    """Each round solves for place and width once; noise alone has none to settle on."""
    seen = cProfile.Profile()
    noise = np.random.default_rng(4).normal(size=(50, 17, 17))
    seen.runcall(fit_profiles, cut(noise, 1.5), None)
    solved = [calls[0] for name, calls in pstats.Stats(seen).stats.items() if name[2] == "inv"]  # type: ignore[attr-defined]
    assert solved[0] <= 8


def test_a_neighbour_two_and_a_half_widths_away_does_not_count() -> None:
    """As bright as the star itself."""
    light = drawn(20, 4.0) + drawn(20, 4.0, at=(10.3, -0.2))
    assert width(light, 4.0) == pytest.approx(4.0, rel=0.03)


def test_the_sky_is_told_from_the_star() -> None:
    """Within two widths there is sky enough: of 100 stars, with a noise of a fiftieth of their height, widths scatter by
    what noise s adds to a Gaussian's width in a sky that is known, s / h times the root of 2 / pi / sigma^2, or little more.
    """
    sigma, noise = 5.0 / FWHM_PER_SIGMA, 0.02
    stars = drawn(12, 5.0) + np.random.default_rng(5).normal(0, noise, (100, 25, 25))
    found = fit_profiles(cut(stars, sigma), None)
    assert np.std(found / 5.0) < 2.0 * noise * np.sqrt(2 / np.pi) / sigma


@pytest.mark.parametrize(
    ("trail", "fwhm", "is_fitted"),
    [(0.0, 9.0, True), (36.0, 4.0, True), (70.0, 4.0, False), (0.0, 22.0, False)],
)
def test_what_takes_more_than_a_window_of_sixty_pixels_is_not_fitted(
    trail: float, fwhm: float, is_fitted: bool
) -> None:
    """Two hundred stars in such windows take a hundred megabytes and some seconds."""
    form = Form(np.array([trail]), np.zeros(1), np.array([fwhm / FWHM_PER_SIGMA]))
    assert (windows_for(form)[0] > 0) == is_fitted
