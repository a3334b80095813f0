"""What changes from frame to frame while a sweep goes on, and a rigid turn does not explain.

- A *declination that moved at every position*: places contradict the axis, while the rotations agree about one. The
  declination axis lies across the plane of boresight and axis, so a declination that moves leaves the direction in
  which the camera sees the axis: the rotations alone still give it.
- A *bend*: the axis itself sinks or swings steadily (a tripod on soft ground), or the declination creeps. Most of it
  looks like another axis; what is left grows smoothly through the sweep.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.fit import AxisFit
from polarcheck.axis.flexure import Creep, fit_creeping_axis
from polarcheck.axis.groups import group_means
from polarcheck.axis.least_squares import solve_axis
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import GeometryError
from polarcheck.vectors import Array, rotation_matrix, tangent_basis, unit

__all__ = ["RotationAxis", "axis_by_rotation", "fit_sweep"]

_ROUNDS = 20
_CONVERGED = 1e-9  # [rad]
_STEP = 1e-6  # of the numeric derivative [rad]
_NOISY = 3.0  # scatter over assumed noise beyond which places are asked whether they or the rotations lie
_ROTATIONS_AGREE = 2.5  # scatter of the rotations over assumed noise up to which they are believed
_UNLIKELY = 1e-6  # chance of places so much worse than rotations, below which the declination moved
_BEND = 1e-4  # chance of a smooth change as large by noise, below which it is told
_PRIOR_DOF = 6.0  # that the assumed noise counts for
_FEWEST = 3  # frames whose rotations give an axis
_SMOOTH = 3  # numbers of a bend: how the axis moves, and the declination
_LARGEST_BEND = 10 * ARCMIN  # standard deviation of each that is thought possible
_LEAST_FRAMES = 5  # that can show a bend: three numbers are solved for


def fit_sweep(
    observed: Array, elapsed: Array, fitted: Callable[[Array], AxisFit]
) -> tuple[AxisFit, Creep | None]:
    """Fit the axis as `fit_creeping_axis` does, and look for a declination that moved and for a bend.

    Parameters
    ----------
    observed, elapsed, fitted
        As for `fit_creeping_axis`.

    Returns
    -------
    AxisFit
        From the rotations alone where the declination moved (`slow_change` is "declination"); with a covariance
        that holds the difference where the frames bend ("bend").
    Creep or None
        As `fit_creeping_axis`.
    """
    fit, creep = fit_creeping_axis(observed, elapsed, fitted)
    if creep is not None or fit.tracked is not None:
        return fit, creep
    bent, left = _bent(fit, elapsed)
    is_whole = (
        bool(fit.used.all()) and len(fit.group_sizes) == fit.attitudes.camera.max() + 1 and not fit.turns
    )
    if bent.slow_change and left <= (_NOISY if is_whole else max(fit.noise, 1.0)):
        return bent, None
    return (None if fit.turns else _of_rotations(fit, observed, fitted)) or fit, None


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


def axis_by_rotation(attitudes: Attitudes, start: Array, roll_ratio: float = 1.0) -> RotationAxis:
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
    for _ in range(_ROUNDS):
        angles, weights = _directions(attitudes, axis, roll_ratio)
        basis = tangent_basis(axis)
        moved = [_directions(attitudes, unit(axis + _STEP * side), roll_ratio)[0] for side in basis.T]
        design = np.stack([np.angle(np.exp(1j * (m - angles))) / _STEP for m in moved], axis=-1)
        misfit = np.angle(np.exp(1j * (angles - np.angle(np.mean(np.exp(1j * angles))))))
        misfit = misfit - np.average(misfit, weights=weights)
        design = design - np.average(design, axis=0, weights=weights)
        information = np.einsum("n,ni,nj->ij", weights, design, design)
        step = -np.linalg.lstsq(information, design.T @ (weights * misfit), rcond=1e-12)[0]
        step *= min(1.0, 5 * DEGREE / max(float(np.linalg.norm(step)), 1e-300))
        axis = unit(axis + basis @ step)
        if np.abs(step).max() < _CONVERGED:
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


def _of_rotations(fit: AxisFit, observed: Array, fitted: Callable[[Array], AxisFit]) -> AxisFit | None:
    """The fit by rotations alone where these agree and the places contradict them."""
    count = len(fit.used)
    # two thirds that agree are no accident, though which two thirds may be open: the sigma holds that
    alike = fit.noise <= _NOISY and 3 * np.count_nonzero(fit.used) >= 2 * count
    if alike or count < _FEWEST or fit.attitudes.camera.any():
        return None
    found = axis_by_rotation(fit.attitudes, fit.axis)
    groups, all_used = np.zeros(count, dtype=int), np.ones(count, dtype=bool)
    whole = solve_axis(fit.attitudes, groups, all_used, fit.axis).chi_square
    dof = _PRIOR_DOF + found.degrees_of_freedom
    left = (_PRIOR_DOF + found.chi_square) / dof
    chance = _chance(count - 1, dof, max(whole - found.chi_square, 0.0) / (count - 1) / left)
    if chance > _UNLIKELY or left > _ROTATIONS_AGREE**2:
        return None
    if count == _FEWEST:  # rotations of three agree with anything; they are another answer, no better one
        apart = tangent_basis(fit.axis).T @ found.axis
        return replace(fit, covariance=np.asarray(fit.covariance + np.outer(apart, apart)), agrees=False)
    covariance: Array = np.asarray(np.linalg.pinv(found.information, hermitian=True) * max(left, 1.0))
    try:
        undone = fitted(_with_one_declination(fit.attitudes, found.axis, observed))
    except GeometryError:
        return None
    return replace(
        undone,
        axis=found.axis,
        covariance=covariance,
        degrees_of_freedom=max(found.degrees_of_freedom, 0),
        noise=float(np.sqrt(left)),
        used=all_used,
        solution=replace(undone.solution, information=found.information),
        slow_change="declination",
    )


def _with_one_declination(attitudes: Attitudes, axis: Array, observed: Array) -> Array:
    """Directions, shape (n, k, 3), as they would be had all frames the last one's declination."""
    boresight = np.einsum("nij,nj->ni", attitudes.matrices, attitudes.boresights[attitudes.camera])
    distance = np.arctan2(np.linalg.norm(np.cross(boresight, axis), axis=-1), boresight @ axis)
    about = unit(np.cross(boresight, axis))
    return np.asarray(np.einsum("nij,nkj->nki", rotation_matrix(about, distance - distance[-1]), observed))


def _chance(gained: float, left: float, ratio: float) -> float:
    """Chance that a ratio of two mean squares, with their degrees of freedom, is as large by noise alone."""
    from scipy.special import fdtrc  # not needed on clean nights

    return float(fdtrc(gained, left, ratio))


def _bent(fit: AxisFit, elapsed: Array) -> tuple[AxisFit, float]:
    """The fit, widened and marked where all frames' misfits grow smoothly; the scatter that then remains."""
    attitudes = fit.turns.as_taken(fit.attitudes) if fit.turns else fit.attitudes
    groups = np.unique(attitudes.camera, return_inverse=True)[1]
    dof = 2 * len(groups) - 2 - 2 * (int(groups.max()) + 1) - _SMOOTH
    if len(groups) < _LEAST_FRAMES or dof < 1 or np.bincount(groups).min() < 2:
        return fit, fit.noise
    every = np.ones(len(groups), dtype=bool)
    whole = solve_axis(attitudes, groups, every, fit.axis, roll_ratio=fit.roll_ratio)
    since = (elapsed - elapsed.max()) / max(float(np.ptp(elapsed)), 1e-9)
    drift = whole.design * since[:, None, None]
    creep = np.stack([since, np.zeros_like(since)], axis=-1)[..., None]
    rows = np.concatenate([whole.misfit[..., None], whole.design, drift, creep], axis=-1)
    rows = rows - group_means(rows, groups, whole.weights, len(whole.cameras))[groups]
    rows *= np.sqrt(whole.weights[:, None] / whole.variances[groups])[..., None]
    flat = rows.reshape(2 * len(groups), -1)
    size = np.maximum(np.linalg.norm(flat[:, 1:], axis=0), 1e-300)
    expected = np.diag(
        [0.0, 0.0, *([1 / _LARGEST_BEND] * _SMOOTH)]
    )  # else noise alone makes bends of degrees
    square = flat[:, 1:].T @ flat[:, 1:] + expected**2
    solved = (
        np.linalg.lstsq(square / np.outer(size, size), flat[:, 1:].T @ flat[:, 0] / size, rcond=1e-13)[0]
        / size
    )
    left = float(np.sum((flat[:, 0] - flat[:, 1:] @ solved) ** 2))
    gain = whole.chi_square - left
    scatter = (_PRIOR_DOF + left) / (_PRIOR_DOF + dof)
    remains = float(np.sqrt(scatter))
    if gain <= 0 or _chance(_SMOOTH, _PRIOR_DOF + dof, gain / _SMOOTH / scatter) > _BEND:
        return fit, remains
    now = unit(whole.axis + tangent_basis(whole.axis) @ solved[:2])
    apart = tangent_basis(fit.axis).T @ now
    return replace(fit, covariance=fit.covariance + np.outer(apart, apart), slow_change="bend"), remains
