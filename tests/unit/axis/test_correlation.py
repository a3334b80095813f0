"""Errors that last: the linear algebra against numpy's own, and sigma against seeded draws."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis.correlation import Component, Series
from polarcheck.axis.mixture import Estimate, estimate
from tests.helpers import ARCSEC

SECONDS = np.arange(40) * 180.0


def series_of(misfit: np.ndarray, sigma: float = ARCSEC, groups: np.ndarray | None = None) -> Series:
    time = (SECONDS[: len(misfit)] - SECONDS[: len(misfit)].mean()) / 3600
    design = np.stack([time, time**2], axis=-1)
    group = np.zeros(len(misfit), dtype=int) if groups is None else groups
    return Series(misfit, design, np.full(len(misfit), sigma), SECONDS[: len(misfit)], group)


def lasting(rng: np.random.Generator, size: float, seconds: float) -> np.ndarray:
    """White noise of 1 arcsec and an exponentially fading one, by the Cholesky root of its covariance. [rad]"""
    apart = np.abs(SECONDS[:, None] - SECONDS)
    covariance = np.eye(len(SECONDS)) + size**2 * np.exp(-apart / seconds)
    return np.asarray(np.linalg.cholesky(covariance) @ rng.normal(size=len(SECONDS)) * ARCSEC)


def found(misfit: np.ndarray) -> Estimate:
    result = estimate(Component.of(series_of(misfit)))
    assert result is not None
    return result


def test_each_strength_and_time_is_generalised_least_squares() -> None:
    misfit = lasting(np.random.default_rng(1), 5.0, 900.0)
    one = Component.of(series_of(misfit))
    rows = np.column_stack([series_of(misfit).design, np.ones(40)])
    apart = np.abs(SECONDS[:, None] - SECONDS)
    for h in range(0, len(one.odds), 5):
        strength, time = one.strengths[h], one.times[h]
        covariance = (np.eye(40) + strength * np.exp(-apart / time)) / (1 + strength)
        normal = rows.T @ np.linalg.solve(covariance, rows)
        steady = (SECONDS - SECONDS.mean()) / np.ptp(SECONDS)
        both = rows.T @ np.linalg.solve(covariance, np.stack([misfit, steady], axis=-1))
        expected = np.linalg.solve(normal, both)[:2]
        assert one.steps[h] == pytest.approx(expected[:, 0], rel=1e-6, abs=0)
        assert one.levers[h] == pytest.approx(expected[:, 1], rel=1e-6, abs=1e-9)
        inverse = np.linalg.inv(normal)[:2, :2] * ARCSEC**2
        assert one.inverses[h] == pytest.approx(inverse, rel=1e-6, abs=1e-9 * inverse.max())


@pytest.mark.parametrize(("size", "seconds"), [(0.0, 600.0), (5.0, 300.0), (10.0, 900.0)])
def test_stated_sigma_is_the_scatter(size: float, seconds: float) -> None:
    # 80 draws: the scatter is known to 8 %; allowed is a factor of 1.35 either way
    results = [found(lasting(np.random.default_rng([2, seed]), size, seconds)) for seed in range(80)]
    slopes = np.array([result.step[0] for result in results])
    stated = np.sqrt(np.mean([result.covariance[0, 0] for result in results]))
    assert stated / np.sqrt(np.mean(slopes**2)) == pytest.approx(1.0, abs=0.35)


def test_what_lasts_is_told_from_white_noise() -> None:
    white, walk = (found(lasting(np.random.default_rng(3), size, 1800.0)) for size in (0.0, 10.0))
    assert white.lasting[0] < 0.3
    assert walk.lasting[0] > 0.7
    assert walk.covariance[0, 0] > 4 * white.covariance[0, 0]


def test_no_residuals_no_estimate() -> None:
    assert estimate(Component.of(series_of(np.array([1.0, 2.0, 4.0]) * ARCSEC))) is None


def test_groups_share_no_constant() -> None:
    misfit = lasting(np.random.default_rng(4), 0.0, 1.0)
    groups = (np.arange(40) >= 20).astype(int)
    plain, stepped = (
        estimate(Component.of(series_of(misfit + step * groups, groups=groups))) for step in (0.0, 1e-3)
    )
    assert plain is not None
    assert stepped is not None
    assert stepped.step == pytest.approx(plain.step, abs=1e-9)


def test_long_sequences_are_averaged_without_loss() -> None:
    rng = np.random.default_rng(5)
    seconds = np.arange(400) * 30.0
    time = (seconds - seconds.mean()) / 3600
    noise = rng.normal(size=400) * ARCSEC
    one = Series(
        noise, np.stack([time, time**2], axis=-1), np.full(400, ARCSEC), seconds, np.zeros(400, dtype=int)
    )
    result = estimate(Component.of(one))
    assert result is not None
    plain = np.sqrt(1 / np.sum(time**2)) * ARCSEC
    assert np.sqrt(result.covariance[0, 0]) == pytest.approx(plain, rel=0.3)


def test_two_components_share_their_parameters() -> None:
    first, second = (lasting(np.random.default_rng(seed), 0.0, 1.0) for seed in (6, 7))
    both = estimate(Component.of(series_of(first)), Component.of(series_of(second)))
    alone = estimate(Component.of(series_of(first)))
    assert both is not None
    assert alone is not None
    assert both.covariance[0, 0] < 0.8 * alone.covariance[0, 0]
    assert len(both.noise) == 2


def test_four_hundred_frames_are_averaged_to_some_seventy_points() -> None:
    """Time and memory grow with the cube and the square of the points: a second for these on a small board."""
    seconds = np.arange(400) * 30.0
    one = Series(np.zeros(400), seconds[:, None], np.full(400, ARCSEC), seconds, np.zeros(400, dtype=int))
    assert 50 < Component.of(one).freedom + 1 <= 72


def test_seven_times_are_tried_from_an_eighth_of_a_frame_to_twice_the_sequence() -> None:
    """What lasts for longer is a slope, which the axis has taken; of what is shorter nothing is left at the next frame."""
    seconds = np.arange(6) * 120.0
    misfit = np.array([1.0, -1.0, 0.5, -0.5, 1.0, -1.0]) * ARCSEC
    one = Component.of(Series(misfit, np.ones((6, 0)), np.full(6, ARCSEC), seconds, np.zeros(6, dtype=int)))
    times = np.unique(one.times[one.strengths > 0])
    assert times == pytest.approx(np.geomspace(15.0, 1200.0, 7))
    assert np.unique(one.strengths) == pytest.approx([0.0, *np.geomspace(0.1, 1000.0, 7)])


def test_what_is_a_thousand_times_less_likely_is_not_counted_with() -> None:
    """exp(-7) is 1 in 1100."""
    one = Component.of(series_of(lasting(np.random.default_rng(8), 10.0, 1800.0)))
    least = one.odds.min() / one.odds.max()
    assert np.exp(-7.0) < least < np.exp(-4.0)


def test_white_noise_is_half_again_as_likely_as_all_that_lasts_whichever() -> None:
    """Odds are the prior's times the restricted likelihood (Harville 1977, from memory), computed with full matrices:
    0.6; and 0.4 over seven strengths and seven times, all alike.
    """
    seconds = np.arange(10) * 300.0
    design = np.linspace(-1, 1, 10)[:, None]
    misfit = np.random.default_rng(9).normal(size=10) * ARCSEC
    one = Component.of(Series(misfit, design, np.full(10, ARCSEC), seconds, np.zeros(10, dtype=int)))
    rows, y = np.column_stack([design, np.ones(10)]), misfit / ARCSEC
    apart, logs = np.abs(seconds[:, None] - seconds), []
    for strength, time in zip(one.strengths, one.times, strict=True):
        covariance = (np.eye(10) + strength * np.exp(-apart / time)) / (1 + strength)
        normal = rows.T @ np.linalg.solve(covariance, rows)
        right = rows.T @ np.linalg.solve(covariance, y)
        chi = y @ np.linalg.solve(covariance, y) - right @ np.linalg.solve(normal, right)
        cost = 8 * np.log(chi) + np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1]
        prior = 0.6 if strength == 0 else 0.4 / 49
        logs.append(np.log(prior) - cost / 2)
    expected = np.exp(np.array(logs) - max(logs))
    assert len(logs) > 30
    assert one.odds == pytest.approx(expected / expected.sum(), rel=1e-3)


def test_groups_share_no_errors_that_last() -> None:
    """Generalised least squares with the full covariance: what lasts starts anew with each group; frames may be mixed."""
    groups = np.arange(40) % 3 // 2  # every third frame is another field's
    misfit = lasting(np.random.default_rng(11), 8.0, 1500.0)
    one = Component.of(series_of(misfit, groups=groups))
    rows = np.column_stack([series_of(misfit).design, np.eye(2)[groups]])
    apart = np.where(groups[:, None] == groups, np.abs(SECONDS[:, None] - SECONDS), np.inf)
    for strength, time, steps in zip(one.strengths, one.times, one.steps, strict=True):
        covariance = np.eye(40) + strength * np.exp(-apart / time)
        normal = rows.T @ np.linalg.solve(covariance, rows)
        expected = np.linalg.solve(normal, rows.T @ np.linalg.solve(covariance, misfit))[:2]
        assert steps == pytest.approx(expected, rel=1e-6, abs=0)
