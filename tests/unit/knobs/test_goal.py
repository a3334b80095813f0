"""How likely an axis is within a goal: closed forms and scipy's own normal distribution."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import ncx2, norm

from polarcheck.knobs.goal import chance_within, reachable_goal
from polarcheck.knobs.response import learn_response
from polarcheck.knobs.spec import KnobSpec


@pytest.mark.parametrize("offset", [(0.0, 0.0), (0.3, 0.1), (0.0, 2.0)])
@pytest.mark.parametrize("sigma", [0.05, 0.3, 3.0])
def test_round_doubt_is_the_noncentral_chi_square(offset: tuple[float, float], sigma: float) -> None:
    expected = ncx2.cdf(0.5**2 / sigma**2, 2, max(np.dot(offset, offset) / sigma**2, 1e-12))
    assert chance_within(0.5, np.array(offset), np.eye(2) * sigma**2) == pytest.approx(expected, abs=0.001)


def test_long_doubt_is_what_draws_say() -> None:
    covariance = np.array([[0.09, 0.05], [0.05, 0.04]])
    draws = np.random.default_rng(1).multivariate_normal([0.2, -0.1], covariance, 200_000)
    share = np.mean(np.linalg.norm(draws, axis=1) < 0.5)  # to 0.1 % of chance
    assert chance_within(0.5, np.array([0.2, -0.1]), covariance) == pytest.approx(share, abs=0.005)


@pytest.mark.parametrize("sigma", [0.1, 0.45, 0.5, 0.55, 3.0])
@pytest.mark.parametrize(("across", "along"), [(0.0, 0.0), (0.0, 0.3), (0.3, 0.0), (-0.3, 0.6)])
def test_doubt_in_one_direction_is_the_normal_distribution(sigma: float, across: float, along: float) -> None:
    """One knob turned by a coarse hand, the other axis known: the chance of a chord of the circle."""
    chord = np.sqrt(0.5**2 - across**2)
    expected = norm.cdf((chord - along) / sigma) - norm.cdf((-chord - along) / sigma)
    found = chance_within(0.5, np.array([across, along]), np.diag([0.001, sigma]) ** 2)
    assert found == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(("offset", "chance"), [((0.3, 0.39), 1.0), ((0.3, 0.41), 0.0)])
def test_axis_without_doubt_is_in_or_out(offset: tuple[float, float], chance: float) -> None:
    assert chance_within(0.5, np.array(offset), np.zeros((2, 2))) == pytest.approx(chance, abs=1e-6)


def test_coarse_knobs_have_a_wider_goal() -> None:
    # half of the smallest turn of 0.1 at 50 arcmin a turn is 2.5 arcmin in either knob; 1.3 times their norm
    coarse = KnobSpec(gain=50.0, smallest_turn=0.1)
    response = learn_response([], coarse, coarse, 0.8)
    assert reachable_goal(response, (coarse, coarse), 1.0) == pytest.approx(1.3 * 2.5 * np.sqrt(2))
    fine = KnobSpec(gain=50.0, smallest_turn=0.01)
    assert reachable_goal(learn_response([], fine, fine, 0.8), (fine, fine), 0.7) == 0.5
