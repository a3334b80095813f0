"""The region around a fitted axis that holds the true one with a probability."""

from __future__ import annotations

import math

import numpy as np

from polarcheck.vectors import Array

__all__ = ["confidence_region", "ellipse"]

_POINTS = 73  # every five degrees: a side runs within a thousandth of the arc


def confidence_region(covariance: Array, dof: int, probability: float) -> Array:
    """Return the outline of the region that holds the truth with a probability.

    Parameters
    ----------
    covariance : ndarray, shape (2, 2)
        Of two angles. [rad^2]
    dof : int
        Degrees of freedom from which its scale was found; 0 for a known noise.
    probability : float
        Between 0 and 1.

    Returns
    -------
    ndarray, shape (73, 2)
        Offsets from the fitted place; the last is the first again. [rad]

    References
    ----------
    .. [1] Fisher's F with 2 and `dof` degrees, twice over: two angles with one scale from the residuals (Hotelling, H.,
       1931, Annals of Mathematical Statistics 2, 360, from memory).
    """
    return region_radius(probability, dof) * ellipse(covariance)


def ellipse(matrix: Array) -> Array:
    """Return points of the ellipse whose half-width along any direction u is the root of u matrix u.

    Parameters
    ----------
    matrix : ndarray, shape (2, 2)
        Symmetric, not negative.

    Returns
    -------
    ndarray, shape (73, 2)
        The last is the first again.
    """
    values, vectors = np.linalg.eigh(matrix)
    angle = np.linspace(0, 2 * np.pi, _POINTS)
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return np.asarray((circle * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)


def region_radius(probability: float, dof: int) -> float:
    """Return the radius in standard errors: by Fisher's F with 2 and dof degrees, or chi square for a known noise."""
    outside = 1 - probability
    if dof == 0:
        return math.sqrt(-2 * math.log(outside))
    return math.sqrt(dof * (outside ** (-2 / dof) - 1))
