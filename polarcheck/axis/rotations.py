"""The axis by the frames' rotations alone, places not asked.

The declination axis lies across the plane of boresight and axis, so a declination that moves leaves the direction in
which the camera sees the axis: where it moved at every position, the rotations still give the axis, coarsely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.least_squares import MOST_STEPS, SETTLED
from polarcheck.constants import DEGREE
from polarcheck.vectors import Array, tangent_basis, unit

__all__ = ["RotationAxis", "axis_by_rotation"]


@dataclass(frozen=True, slots=True)
class RotationAxis:
    """The axis by the frames' rotations alone, places not asked.

    Attributes
    ----------
    axis : ndarray, shape (3,)
        The elevated end.
    information : ndarray, shape (2, 2)
        Inverse of its covariance on the tangent plane, for noise as assumed. [rad^-2]
    chi_square : float
        Weighted sum of squared misfits, for noise as assumed.
    degrees_of_freedom : int
        One for each frame, less one for the camera and two for the axis.
    """

    axis: Array
    information: Array
    chi_square: float
    degrees_of_freedom: int


def axis_by_rotation(attitudes: Attitudes, start: Array, roll_ratio: float) -> RotationAxis:
    """Fit the axis so that every camera sees it in one direction from its boresight.

    Parameters
    ----------
    attitudes : Attitudes
        Frames of one camera.
    start : ndarray, shape (3,)
        First guess.
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor.
    """
    axis = start
    for _ in range(MOST_STEPS):
        angles, weights = _directions(attitudes, axis, roll_ratio)
        basis = tangent_basis(axis)
        moved = [_directions(attitudes, unit(axis + SETTLED * side), roll_ratio)[0] for side in basis.T]
        design = np.stack([np.angle(np.exp(1j * (m - angles))) / SETTLED for m in moved], axis=-1)
        misfit = np.angle(np.exp(1j * (angles - np.angle(np.mean(np.exp(1j * angles))))))
        misfit = misfit - np.average(misfit, weights=weights)
        design = design - np.average(design, axis=0, weights=weights)
        information = np.einsum("n,ni,nj->ij", weights, design, design)
        step = -np.linalg.lstsq(information, design.T @ (weights * misfit), rcond=1e-12)[0]
        step *= min(1.0, 5 * DEGREE / max(float(np.linalg.norm(step)), 1e-300))
        axis = unit(axis + basis @ step)
        if np.abs(step).max() < SETTLED:
            break
    return RotationAxis(axis, information, float(np.sum(weights * misfit**2)), len(angles) - 3)


def _directions(attitudes: Attitudes, axis: Array, roll_ratio: float) -> tuple[Array, Array]:
    """Angle about the boresight at which each camera sees the axis, and its weight. [rad], [rad^-2]"""
    inner = np.einsum("nji,j->ni", attitudes.matrices, axis)
    boresight = attitudes.boresights[attitudes.camera]
    x, y = tangent_basis(attitudes.boresights[0]).T
    sine = np.linalg.norm(np.cross(boresight, inner), axis=-1)
    cotangent = np.einsum("ni,ni->n", boresight, inner) / np.maximum(sine, 1e-9)
    moment = attitudes.roll_moments[attitudes.camera]
    variance = attitudes.noise**2 * (roll_ratio**2 / moment + cotangent**2)
    return np.arctan2(inner @ y, inner @ x), 1 / variance
