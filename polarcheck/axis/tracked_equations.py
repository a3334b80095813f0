"""Linear equations of tracked frames: what their places and their rotations say of the axis."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.correlation import Series
from polarcheck.axis.mixture import Estimate
from polarcheck.axis.polar import PolarPlaces
from polarcheck.constants import DEGREE
from polarcheck.vectors import Array

__all__ = ["assumed", "equations_of", "out_of_square", "plain_step"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_CONE = 0.3 * DEGREE  # by which declination axis and boresight of a mount may be out of square


def equations_of(
    attitudes: Attitudes, places: PolarPlaces, seconds: Array, groups: Ints, used: Bools, guided: Bools
) -> tuple[Series | None, Series]:
    """Equations of the place, of groups that were not guided, and of the rotation."""
    misfit = places.misfit(groups, used)
    sigma = attitudes.noise[:, None] * np.sqrt(places.variances)
    found = [
        Series(misfit[some, c], places.design[some, c], sigma[some, c], seconds[some], groups[some])
        for c, some in enumerate([used & ~guided[groups], used])
    ]
    return (found[0] if len(found[0].misfit) else None), found[1]


def plain_step(attitudes: Attitudes, places: PolarPlaces, groups: Ints, used: Bools, guided: Bools) -> Array:
    """Step of plain least squares."""
    place, rotation = equations_of(attitudes, places, np.zeros(len(groups)), groups, used, guided)
    normal, right = np.zeros((2, 2)), np.zeros(2)
    for series in (place, rotation):
        if series is not None:
            rows = _centred(series)
            normal += rows[:, 1:].T @ rows[:, 1:]
            right += rows[:, 1:].T @ rows[:, 0]
    return np.asarray(np.linalg.lstsq(normal, right, rcond=1e-14)[0])


def _centred(series: Series) -> Array:
    """Misfit and design over the noise, shape (n, 3), less their group's mean."""
    rows = np.column_stack([series.misfit, series.design]) / series.sigma[:, None]
    for g in np.unique(series.groups):
        rows[series.groups == g] -= rows[series.groups == g].mean(axis=0)
    return rows


def assumed(series: Series) -> Estimate:
    """What the assumed noise makes of frames that leave no residuals."""
    rows = _centred(series)
    inverse = np.linalg.pinv(rows[:, 1:].T @ rows[:, 1:], hermitian=True)
    return Estimate(
        inverse @ rows[:, 1:].T @ rows[:, 0],
        np.asarray(inverse, dtype=float),
        0,
        np.ones(1),
        np.zeros(1),
        np.zeros(1),
    )


def out_of_square(rotation: Series, places: PolarPlaces, groups: Ints, used: Bools, guided: Bools) -> Array:
    """Covariance for a declination axis that is not square to the boresight: guiding turns then tilt the field."""
    rows = _centred(rotation)
    lift = np.where(guided[groups], places.misfit(groups, used)[:, 0], 0.0)[used] / rotation.sigma
    moved = np.linalg.pinv(rows[:, 1:]) @ (lift - lift.mean()) * _CONE
    return np.outer(moved, moved)
