"""Components joined: against textbook cases in closed form (Gaussian mixtures, weighted means) and SciPy's quantiles."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm, t

from polarcheck.axis.correlation import Component, Series
from polarcheck.axis.mixture import Estimate, estimate
from polarcheck.constants import ARCMIN
from tests.benchmarks.tracked_prior import drawn, with_misfit
from tests.helpers import ARCSEC

SECONDS = np.arange(60) * 120.0
TIME = (SECONDS - SECONDS.mean()) / np.ptp(SECONDS)


def component(offset: np.ndarray, seed: int, slopes: np.ndarray, noise: float = ARCSEC) -> Component:
    """White noise about what an axis displaced by `offset` would show."""
    design = np.outer(TIME, slopes[0]) + np.outer(TIME**2, slopes[1])
    misfit = design @ offset + noise * np.random.default_rng(seed).normal(size=len(TIME))
    return Component.of(Series(misfit, design, np.full(60, noise), SECONDS, np.zeros(60, dtype=int)))


def joined(second_offset: float, steady: float = 0.0) -> tuple[Estimate, Estimate, Estimate]:
    """Both, and each alone; the second one's axis stands aside by so much in the first coordinate."""
    first = component(np.zeros(2), 1, np.array([[1.0, 0.0], [0.0, 1.0]]))
    second = component(np.array([second_offset, 0.0]), 2, np.array([[0.0, 1.0], [1.0, 0.0]]))
    found = estimate(first, second, steady=steady), estimate(first), estimate(second)
    assert all(found)
    return found  # type: ignore[return-value]


def known(step: float, *sigmas: float, odds: tuple[float, ...] = (1.0,), freedom: int = 10_000) -> Component:
    """One number with white noise, its standard deviation one of several of some odds, the scale as assumed. [arcmin]"""
    count = len(sigmas)
    return Component(
        np.array(odds),
        np.full((count, 1), step * ARCMIN),
        (np.array(sigmas) * ARCMIN)[:, None, None] ** 2,
        np.full(count, float(freedom)),
        np.zeros((count, 1)),
        np.zeros(count),
        np.ones(count),
        freedom,
    )


def half_width(found: Estimate | None, share: float) -> float:
    """Of the interval that holds so much. [arcmin]"""
    assert found is not None
    return float(np.sqrt(found.covariance[0, 0]) / ARCMIN * t.ppf(0.5 + share / 2, found.degrees_of_freedom))


def test_students_t_has_the_intervals_of_the_mixture() -> None:
    # degrees of freedom are whole: 1 and 2 differ by a factor of two in their 95 %, hence what is allowed there
    odds, sigmas = np.array([0.8, 0.2]), np.array([1.0, 4.0])
    found = estimate(known(0.0, *sigmas, odds=(0.8, 0.2)))
    assert found is not None
    assert found.step[0] == 0
    for share, tolerance in ((0.6827, 0.03), (0.95, 0.15)):
        true = brentq(lambda q, p=share: odds @ (2 * norm.cdf(q / sigmas) - 1) - p, 0.1, 20)
        assert half_width(found, share) == pytest.approx(true, rel=tolerance)


@pytest.mark.parametrize("freedom", [4, 12, 60, 400])
def test_white_noise_of_unknown_size_gives_students_t(freedom: int) -> None:
    """The textbook case; the scale's posterior stands in seven parts, whose outer ones are not the farthest: 1 %."""
    found = estimate(known(0.0, 1.0, freedom=freedom))
    for share in (0.6827, 0.95):
        assert half_width(found, share) == pytest.approx(t.ppf(0.5 + share / 2, freedom), rel=0.01)


@pytest.mark.parametrize("apart", [1.0, 1.25, 1.5, 2.0, 30.0])
def test_two_that_differ_are_weighed_by_the_chance_of_a_contradiction(apart: float) -> None:
    """By Bayes' rule, summed over what is stated of it: a chance of 0.03 together for one of 0.5, 2, 8 or 32 arcmin."""
    sigma, sizes = 0.25, np.array([0.0, 0.5, 2.0, 8.0, 32.0])
    chance = np.array([0.97, *np.full(4, 0.03 / 4)])
    weight = chance * norm.pdf(apart, scale=np.sqrt(2 * sigma**2 + sizes**2))
    mean = weight @ (apart * sigma**2 / (2 * sigma**2 + sizes**2)) / weight.sum()
    found = estimate(known(0.0, sigma), known(apart, sigma))
    assert found is not None
    assert found.step[0] / ARCMIN == pytest.approx(mean, rel=0.1)


def test_components_that_agree_give_their_weighted_mean() -> None:
    both, first, second = joined(0.0)
    weights = np.linalg.inv(first.covariance), np.linalg.inv(second.covariance)
    mean = np.linalg.solve(weights[0] + weights[1], weights[0] @ first.step + weights[1] @ second.step)
    sigma = np.sqrt(np.diag(np.linalg.inv(weights[0] + weights[1])))
    assert np.abs(both.step - mean).max() < 0.3 * sigma.max()
    assert np.sqrt(np.diag(both.covariance)) == pytest.approx(sigma, rel=0.35)


def test_components_that_contradict_each_other_keep_their_own_width() -> None:
    both, first, _ = joined(20 * ARCMIN)
    # the first tells the first coordinate well: the second, 20 arcmin aside, may not move it by arcminutes
    assert abs(both.step[0] - first.step[0]) < 3 * np.sqrt(first.covariance[0, 0])
    agreeing, _, _ = joined(0.0)
    assert both.covariance[1, 1] > 4 * agreeing.covariance[1, 1]


def test_a_steady_change_widens_what_its_component_tells() -> None:
    size = 60 * ARCSEC
    plain, first, _ = joined(0.0)
    wide, _, _ = joined(0.0, size)
    # the second component tells the second coordinate by a slope of one: a change by `size` is one of `size`,
    # and the first one's own, coarser width is the most that it can come to
    most = np.sqrt(first.covariance[1, 1])
    assert np.sqrt(plain.covariance[1, 1]) < 0.5 * np.sqrt(wide.covariance[1, 1])
    assert np.sqrt(wide.covariance[1, 1]) < 1.3 * most


def test_errors_that_are_as_believed_are_held_as_stated() -> None:
    """Simulation-based calibration (Talts et al. 2018, from memory): strength and time drawn from what they are weighed by.

    600 draws, so that the shares are good to 1.9 and 0.9 points.
    """
    seconds = np.arange(24) * 240.0
    design = np.column_stack([np.linspace(-1, 1, 24), np.linspace(-1, 1, 24) ** 2])
    place = Series(np.zeros(24), design, np.full(24, ARCSEC), seconds, np.zeros(24, dtype=int))
    rng, near, wide = np.random.default_rng(12), [], []
    for _ in range(600):
        found = estimate(Component.of(with_misfit(place, drawn(place, 1.0, rng))))
        assert found is not None
        size = np.abs(found.step) / np.sqrt(np.diag(found.covariance))
        near.append(size <= t.ppf(0.5 + 0.6827 / 2, found.degrees_of_freedom))
        wide.append(size <= t.ppf(0.975, found.degrees_of_freedom))
    assert 100 * np.mean(near) == pytest.approx(68.27, abs=5)
    assert 100 * np.mean(wide) == pytest.approx(95.0, abs=2.5)


def test_the_last_digit_of_a_number_chooses_nothing() -> None:
    """Where little lasts, strengths and times give the same parameters; which of them are counted must not hang on 1e-15."""
    rng = np.random.default_rng(12)
    plain = component(np.zeros(2), 3, np.array([[1.0, 0.0], [0.0, 1.0]]))
    even = replace(
        plain,
        inverses=np.broadcast_to(plain.inverses[0], plain.inverses.shape),
        chi_squares=np.full(len(plain.odds), plain.chi_squares[0]),
    )
    other = replace(even, inverses=even.inverses * (1 + 1e-15 * rng.normal(size=(len(plain.odds), 1, 1))))
    assert len(plain.odds) > 5
    first, second = estimate(even), estimate(other)
    assert first is not None
    assert second is not None
    assert second.covariance == pytest.approx(first.covariance, rel=1e-9)
    assert second.seconds == pytest.approx(first.seconds, rel=1e-9)


def test_two_that_agree_are_joined_as_gaussians_are() -> None:
    """The product of two Gaussians of two numbers, correlated: inverse covariances add. Contradictions cost 3 % at most."""
    covariances = np.array([[[4.0, 1.5], [1.5, 1.0]], [[1.0, -0.3], [-0.3, 3.0]]]) * (0.01 * ARCMIN) ** 2
    steps = np.array([[0.01, 0.0], [0.0, 0.02]]) * ARCMIN
    both = estimate(*(exact(step, covariance) for step, covariance in zip(steps, covariances, strict=True)))
    assert both is not None
    inverses = np.linalg.inv(covariances)
    expected = np.linalg.inv(inverses.sum(axis=0))
    assert both.step == pytest.approx(expected @ np.einsum("kpq,kq->p", inverses, steps), rel=0.05)
    assert both.covariance == pytest.approx(expected, rel=0.1)


def exact(step: np.ndarray, covariance: np.ndarray) -> Component:
    """Two numbers of a known covariance."""
    return Component(
        np.ones(1),
        step[None],
        covariance[None],
        np.full(1, 10_000.0),
        np.zeros((1, 2)),
        np.zeros(1),
        np.ones(1),
        10_000,
    )


def test_two_components_are_joined_in_little_memory() -> None:
    """Of all pairs of Gaussians, for each size of a contradiction: ten million bytes take a small board a tenth of a second."""
    joined(0.0)  # what is loaded when first used does not count
    tracemalloc.start()
    joined(0.0)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 1e7
