"""The axis of a tracked sequence as a least-squares solution like that of a sweep, for what is asked later."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.least_squares import AxisSolution, turn_about
from polarcheck.axis.tracked import TrackedAxis
from polarcheck.vectors import Array, rotation_matrix, unit

__all__ = ["tracked_solution"]

Ints = npt.NDArray[np.int_]


def tracked_solution(
    attitudes: Attitudes, found: TrackedAxis, roll_ratio: float, noise: float
) -> AxisSolution:
    """Return the solution that belongs to an axis from tracked frames.

    Parameters
    ----------
    attitudes : Attitudes
    found : TrackedAxis
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor.
    noise : float
        Noise of a frame over the assumed one.

    Returns
    -------
    AxisSolution
        Where a guider moved the declination, its misfit and design are zero, the cameras are those of the groups'
        last frames, and the models follow the guider. The information is what gives the covariance with `noise`.
    """
    groups, places = found.groups, found.places
    misfit = places.misfit(groups, found.used) * [1.0, -1.0]
    design = places.design * np.array([1.0, -1.0])[:, None]
    misfit[found.guided[groups], 0], design[found.guided[groups], 0] = 0.0, 0.0
    cosine, sine = np.cos(places.distance), np.sin(places.distance)
    roll = cosine**2 + sine**2 * roll_ratio**2 / attitudes.roll_moments[attitudes.camera]
    models = _models(attitudes, found, misfit, roll)
    last = np.array([_last(found.used & (groups == g), groups == g) for g in range(len(found.guided))])
    cameras = models[last]
    weights = np.where(found.used, 1.0, 0.0) / attitudes.noise**2
    variances = np.stack([np.ones(len(last)), roll[last]], axis=-1)
    return AxisSolution(
        axis=found.axis,
        cameras=cameras,
        turns=turn_about(found.axis, models @ np.swapaxes(cameras[groups], -1, -2)),
        misfit=misfit,
        design=design,
        information=np.asarray(noise**2 * np.linalg.pinv(found.covariance, hermitian=True), dtype=float),
        chi_square=float(np.sum(weights[:, None] * misfit**2 / variances[groups])),
        variances=variances,
        weights=weights,
        models=models,
        planes=_planes(attitudes, found.axis, cameras, attitudes.camera[last]),
    )


def _last(used: npt.NDArray[np.bool_], members: npt.NDArray[np.bool_]) -> int:
    """The group's last frame in use, or in it."""
    return int(np.flatnonzero(used if used.any() else members)[-1])


def _models(attitudes: Attitudes, found: TrackedAxis, misfit: Array, roll: Array) -> Array:
    """Attitudes without their misfit, each with the turn about the axis that the weights of place and roll call for."""
    boresight = attitudes.boresights[attitudes.camera]
    inner = np.einsum("nji,j->ni", attitudes.matrices, found.axis)
    first = unit(np.cross(boresight, inner))
    second = np.cross(first, inner)
    cosine, sine = np.cos(found.places.distance), np.sin(found.places.distance)
    rolled = (roll - cosine**2) / np.maximum(sine**2, 1e-12)  # variance of the roll in that of the pointing
    turn = -misfit[:, 1] * sine * cosine * (1 / rolled - 1) / (cosine**2 / rolled + sine**2)
    vector = -misfit[:, :1] * first - misfit[:, 1:] * second + turn[:, None] * inner
    angle = np.linalg.norm(vector, axis=-1)
    return np.asarray(
        attitudes.matrices @ rotation_matrix(vector / np.maximum(angle, 1e-300)[:, None], angle)
    )


def _planes(attitudes: Attitudes, axis: Array, cameras: Array, camera: Ints) -> Array:
    inner = np.einsum("gji,j->gi", cameras, axis)
    normal = unit(np.cross(attitudes.boresights[camera], inner))
    return np.stack([normal, np.cross(normal, inner)], axis=-1)
