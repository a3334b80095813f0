"""The region that holds the axis with a probability."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from polarcheck.axis import confidence_region, ellipse
from polarcheck.axis.region import region_radius


@pytest.mark.parametrize("dof", [1, 2, 5, 12, 200])
@pytest.mark.parametrize("probability", [0.6827, 0.95])
def test_radius_of_the_region_is_hotellings(probability: float, dof: int) -> None:
    """Two coordinates with a scale from the residuals: 2 F(2, dof), by scipy."""
    expected = np.sqrt(2 * stats.f.ppf(probability, 2, dof))
    assert region_radius(probability, dof) == pytest.approx(expected, rel=1e-9)


def test_radius_with_known_noise_is_chi_squares() -> None:
    assert region_radius(0.95, 0) == pytest.approx(np.sqrt(stats.chi2.ppf(0.95, 2)), rel=1e-9)


def test_region_has_the_covariance_of_the_fit() -> None:
    """A point at r on an ellipse of a covariance C fulfils p' C^-1 p = r^2."""
    covariance = np.array([[4.0, -1.5], [-1.5, 1.0]]) * 1e-9
    points = confidence_region(covariance, 7, 0.95)
    distance = np.einsum("ki,ij,kj->k", points, np.linalg.inv(covariance), points)
    assert distance == pytest.approx(2 * stats.f.ppf(0.95, 2, 7), rel=1e-6)
    assert points[0] == pytest.approx(points[-1])


def test_outline_looks_round_and_is_no_burden() -> None:
    """Sides run inside the arc by 1 - cos(half a step): a fifth of a pixel on a phone's 200; each point is 40 bytes of a
    page that holds dozens of outlines.
    """
    corners = ellipse(np.eye(2))
    inside = 1 - np.linalg.norm((corners[1:] + corners[:-1]) / 2, axis=-1).min()
    assert 200 * inside < 0.25
    assert 40 * len(corners) < 4000
