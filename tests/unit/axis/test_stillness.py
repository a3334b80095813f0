"""A field that a guider holds, and one that drifts."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis.stillness import is_slow, is_still
from tests.helpers import ARCSEC

SECONDS = np.linspace(0, 7200, 40)


def places(east: float, north: float, noise: float = 1.0, dither: float = 0.0, seed: int = 1) -> np.ndarray:
    """Of a field that drifts by so many arcsec an hour. [rad]"""
    rng = np.random.default_rng(seed)
    steady = np.outer(SECONDS / 3600, [east, north]) + noise * rng.normal(size=(40, 2))
    steps = np.repeat(rng.uniform(-dither, dither, (10, 2)), 4, axis=0)
    return np.asarray((steady + steps) * ARCSEC)


@pytest.mark.parametrize("dither", [0.0, 10.0, 60.0])
def test_a_held_field_is_still_dithered_or_not(dither: float) -> None:
    assert is_still(places(0, 0, dither=dither), SECONDS, ARCSEC)


@pytest.mark.parametrize(("east", "north"), [(15.0, 0.0), (0.0, 15.0), (-30.0, 200.0)])
def test_a_drift_is_seen_in_either_direction(east: float, north: float) -> None:
    # 15 arcsec an hour is about what refraction alone does to a field on a perfect axis
    assert not is_still(places(east, north), SECONDS, ARCSEC)


def test_slow_is_what_a_bending_guide_scope_does() -> None:
    assert is_slow(places(20.0, -25.0), SECONDS)
    assert not is_slow(places(0.0, 100.0), SECONDS)


def test_few_frames_are_judged_by_their_places_alone() -> None:
    few = slice(0, 40, 13)
    assert is_still(places(0, 0, dither=5.0)[few], SECONDS[few], ARCSEC)
    assert not is_still(places(0, 300.0)[few], SECONDS[few], ARCSEC)


def line(arcsec: float, hours: float, count: int = 40) -> tuple[np.ndarray, np.ndarray]:
    """Places that drift evenly by so much in all, and their moments."""
    seconds = np.linspace(0, 3600 * hours, count)
    return np.outer(np.linspace(0, arcsec, count), [1.0, 0.0]) * ARCSEC, seconds


@pytest.mark.parametrize(("hourly", "still"), [(4.0, True), (6.0, False)])
def test_a_guide_scope_may_bend_by_five_arcsec_an_hour(hourly: float, still: bool) -> None:
    """Common practice, no source; refraction alone drifts by 10 to 20."""
    places_, seconds = line(2 * hourly, 2.0)
    assert is_still(places_, seconds, 0.1 * ARCSEC) is still


@pytest.mark.parametrize(("arcsec", "still"), [(12.0, True), (25.0, False)])
def test_a_drift_within_three_standard_errors_is_none(arcsec: float, still: bool) -> None:
    """Least squares: white noise of 10 arcsec in 40 places leaves 10 sqrt(12 / 40) = 5.5 arcsec of doubt."""
    even, seconds = line(1.0, 2.0)
    noise = np.random.default_rng(5).normal(size=40)
    time = seconds - seconds.mean()
    noise -= noise.mean() + time * (time @ noise) / (time @ time)
    noisy = np.stack([arcsec * even[:, 0] + 10 * ARCSEC * noise / noise.std(), 0 * noise], axis=-1)
    assert is_still(noisy, seconds, 10 * ARCSEC) is still


@pytest.mark.parametrize(
    ("arcsec", "hours", "slow"), [(85, 2, True), (95, 2, False), (18, 0.25, True), (22, 0.25, False)]
)
def test_slow_is_forty_arcsec_an_hour_and_ten_besides(arcsec: float, hours: float, slow: bool) -> None:
    """Common practice, no source."""
    assert is_slow(*line(arcsec, hours)) is slow


def test_four_places_do_not_tell_their_scatter_and_five_do() -> None:
    """50 arcsec in two hours: slow enough for four, and far beyond the scatter that five show."""
    assert is_still(*line(50.0, 2.0, 4), ARCSEC)
    assert not is_still(*line(50.0, 2.0, 5), ARCSEC)


@pytest.mark.parametrize(("amount", "middle", "width"), [(20, 0.8, 0.2), (40, 0.3, 0.3), (40, 0.7, 0.3)])
def test_a_field_that_was_elsewhere_for_a_while_and_came_back_has_not_drifted(
    amount: float, middle: float, width: float
) -> None:
    """As where a cable pulled at the guide scope, and let go: half an hour of two."""
    bump = amount * np.exp(-(((np.linspace(0, 1, 40) - middle) / width) ** 2))
    assert is_still(places(0, 0) + np.outer(bump, [1.0, 0.0]) * ARCSEC, SECONDS, ARCSEC)


@pytest.mark.parametrize("lasting", [0.15, 0.2, 0.25])
def test_a_field_that_moved_and_stays_elsewhere_has_drifted(lasting: float) -> None:
    """By 20 arcsec, quickly at first: a guider would have undone it by the end."""
    gone = 20 * np.exp(-np.linspace(0, 1, 40) / lasting)
    assert not is_still(places(0, 0, seed=3) + np.outer(gone, [1.0, 0.0]) * ARCSEC, SECONDS, ARCSEC)


def dithered(hourly: float, each: int, jumps: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Places that drift east by so many arcsec an hour, in `each` frames between jumps of so many arcsec."""
    count = each * (len(jumps) + 1)
    seconds = 300.0 * np.arange(count)
    east = np.repeat(np.cumsum([0.0, *jumps]), each) + hourly * seconds / 3600
    noise = np.random.default_rng(4).normal(size=(count, 2))
    return (np.outer(east, [1.0, 0.0]) + noise) * ARCSEC, seconds


@pytest.mark.parametrize(("share", "still"), [(0.0, True), (1.0, False)])
@pytest.mark.parametrize("jumps", [[-22.0, -14.0], [15.0, 15.0, 15.0], [-30.0, -5.0, -20.0]])
def test_jumps_of_a_held_field_are_no_drift(jumps: list[float], share: float, still: bool) -> None:
    """Of few frames between dithers that chance puts in a row; a drift of 80 arcsec an hour goes on between them."""
    assert is_still(*dithered(80.0 * share * np.sign(jumps[0]), 3, jumps), ARCSEC) is still


@pytest.mark.parametrize(("jump", "still"), [(20.0, True), (12.0, False)])
def test_a_jump_stands_out_of_the_noise_four_times(jump: float, still: bool) -> None:
    """Of what steps scatter by, jumps counted in: 3.9 arcsec here."""
    assert is_still(*dithered(0.0, 3, [-jump] * 6), ARCSEC) is still


def test_a_field_that_jumps_at_every_other_frame_is_judged_by_the_whole() -> None:
    """It must stay put between most frames."""
    assert not is_still(*dithered(0.0, 2, [-60.0] * 6), ARCSEC)


def test_a_field_that_jumps_at_most_frames_is_judged_by_the_whole() -> None:
    """A walk of jumps, not held: nothing shows where it would have stood between them."""
    assert not is_still(*dithered(0.0, 1, [-20.0] * 12), ARCSEC)
