"""How near the pole is near enough, and how likely the axis is within that."""

from __future__ import annotations

import numpy as np

from polarcheck.knobs.play import hand_miss
from polarcheck.knobs.response import Response
from polarcheck.knobs.spec import KnobSpec
from polarcheck.vectors import Array

__all__ = ["GOAL_ARCMIN", "chance_within", "reachable_goal"]

GOAL_ARCMIN = 0.5
"""Total error that is near enough where nobody says more: at 250 mm no pixel sees it in ten minutes. [arcmin]"""

_HAND_ROOM = 1.3  # root mean squares of what a hand misses, which three turns of four stay within


def reachable_goal(response: Response, knobs: tuple[KnobSpec, KnobSpec], cosine: float) -> float:
    """Return the goal that a hand can be expected to reach, at least `GOAL_ARCMIN`.

    Parameters
    ----------
    response : Response
        How the knobs act.
    knobs : tuple of KnobSpec
        Azimuth, altitude.
    cosine : float
        Of the axis' altitude: what a move about the vertical is on the sky.

    Returns
    -------
    float
        [arcmin]
    """
    misses = [
        abs(float(response.matrix[i, i]) or knobs[i].size or 0.0)
        * hand_miss(0.0, knobs[i])
        * (cosine, 1.0)[i]
        for i in range(2)
    ]
    return max(GOAL_ARCMIN, _HAND_ROOM * float(np.linalg.norm(misses)))


def chance_within(radius: float, offset: Array, covariance: Array) -> float:
    """Return the probability that a point of a plane normal distribution lies within a circle about the origin.

    Parameters
    ----------
    radius : float
        Of the circle.
    offset : ndarray, shape (2,)
        Mean of the distribution, in the unit of `radius`.
    covariance : ndarray, shape (2, 2)
        Of it.

    Returns
    -------
    float
        By integration along the longer axis of the error ellipse, good to 0.001.
    """
    from scipy.special import ndtr  # only results need it, not --help

    squares, axes = np.linalg.eigh(covariance)
    narrow, wide = np.sqrt(np.maximum(squares, 1e-12 * max(radius, 1e-9) ** 2))
    across, along = offset @ axes
    ends = np.clip(
        (np.array([-radius, radius]) - along) / wide, -6.0, 6.0
    )  # in sigmas; beyond it lies nothing
    steps = np.linspace(float(ends[0]), float(ends[1]), 2001)
    half = np.sqrt(np.maximum(radius**2 - (along + wide * steps) ** 2, 0.0))
    inside = ndtr((half - across) / narrow) - ndtr((-half - across) / narrow)
    return float(np.sum((inside[1:] + inside[:-1]) / 2 * np.diff(ndtr(steps))))
