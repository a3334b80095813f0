"""Camera attitudes to the mount's rotation axis, by least squares.

The model: frame `i` of group `g` has the attitude Rot(axis, turn_i) C_g. All frames share the axis; a group
(one declination, one pier side, one camera rotation) shares the camera attitude C_g; every frame has a free
turn. A small rotation of a frame's attitude about the axis, as the camera sees it, is just another turn, so
only two components of a frame's misfit say anything about the axis:

- the *declination* component, about the normal of the plane through boresight and axis; its variance is
  that of the pointing;
- the *roll* component, in that plane across the axis; its variance is cos^2 d of the pointing's plus
  sin^2 d of the roll's, where d is the angle between boresight and axis.

The turns drop out of the normal equations, which is why ten thousand frames cost little. Directions are
East-North-Up, angles radians; turns are right-handed about the axis' elevated end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.groups import group_means, roll_variance
from polarcheck.vectors import Array, cross, rotation_matrix, rotation_vector, tangent_basis, unit

__all__ = [
    "MOST_STEPS",
    "SETTLED",
    "AxisSolution",
    "axis_levers",
    "axis_of_turn",
    "settled_axis",
    "solve_axis",
    "turn_about",
]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

MOST_STEPS = 20
"""Of an iteration. What has not settled by then are frames that contradict each other by degrees (one fit in 160 of the
tests, with a chi square of 1e7 and more): nobody believes them, and more steps only take longer.
"""

SETTLED = float(np.sqrt(np.finfo(float).eps))
"""Last step of an iteration, half of a number's digits: by Newton's rule it leaves an error beyond the other half. [rad]"""


@dataclass(frozen=True, slots=True)
class AxisSolution:
    """A least-squares axis for frames sorted into groups, and how every frame stands to it.

    Attributes
    ----------
    axis : ndarray, shape (3,)
        The elevated end.
    cameras : ndarray, shape (g, 3, 3)
        Attitude of each group at turn zero.
    turns : ndarray, shape (n,)
        Turn of each frame about the axis, right-handed. [rad]
    misfit : ndarray, shape (n, 2)
        Declination and roll component of each frame's misfit, in its group. [rad]
    design : ndarray, shape (n, 2, 2)
        Change of a frame's modelled attitude, in the same components, with a displacement of the axis
        along `tangent_basis`.
    information : ndarray, shape (2, 2)
        Inverse of the axis displacement's covariance on the tangent plane (azimuth times cos altitude,
        altitude), for a pointing noise as assumed. [rad^-2]
    chi_square : float
        Weighted sum of squared misfits of the frames in use, for noise as assumed.
    variances : ndarray, shape (g, 2)
        Variances of the two components, in units of the pointing's.
    weights : ndarray, shape (n,)
        Weights of the frames, zero for those not in use. [rad^-2]
    models : ndarray, shape (n, 3, 3)
        Modelled attitudes.
    planes : ndarray, shape (g, 3, 2)
        Axes of the declination and roll component, fixed in the camera.
    """

    axis: Array
    cameras: Array
    turns: Array
    misfit: Array
    design: Array
    information: Array
    chi_square: float
    variances: Array
    weights: Array
    models: Array
    planes: Array


def axis_of_turn(first: Array, second: Array) -> tuple[Array, Array]:
    """Return axis and size of the turn from one attitude to another.

    Parameters
    ----------
    first, second : ndarray, shape (..., 3, 3)
        Attitudes.

    Returns
    -------
    axis : ndarray, shape (..., 3)
        Unit vectors (undefined for no turn at all).
    angle : ndarray, shape (...)
        In [0, pi]. [rad]
    """
    vector = rotation_vector(second @ np.swapaxes(first, -1, -2))
    angle = np.linalg.norm(vector, axis=-1)
    return vector / np.maximum(angle, 1e-300)[..., None], angle


def turn_about(axis: Array, matrix: Array) -> Array:
    """Return the right-handed turn about `axis`, shape (...), that comes nearest to rotations. [rad]"""
    twist = matrix[..., [2, 0, 1], [1, 2, 0]] - matrix[..., [1, 2, 0], [2, 0, 1]]
    along = np.einsum("i,...ij,j->...", axis, matrix, axis)
    return np.asarray(np.arctan2(twist @ axis, np.trace(matrix, axis1=-2, axis2=-1) - along))


def axis_levers(axis: Array) -> Array:
    """Return the rotation vectors, shape (3, 2), that displace `axis` along its `tangent_basis`."""
    return cross(axis, tangent_basis(axis).T).T


def solve_axis(
    attitudes: Attitudes,
    groups: Ints,
    used: Bools,
    start: Array,
    *,
    roll_ratio: float = 1.0,
    shares: Array | None = None,
) -> AxisSolution:
    """Fit the axis to the frames in use, by Gauss and Newton with the analytic Jacobian.

    Parameters
    ----------
    attitudes : Attitudes
        The frames' attitudes.
    groups : ndarray of int, shape (n,)
        Group of every frame, counted from 0; a group belongs to one camera.
    used : ndarray of bool, shape (n,)
        Frames to fit; every group needs at least one.
    start : ndarray, shape (3,)
        First guess, from `axis_of_turn`.
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor.
    shares : ndarray, shape (n,), optional
        Relative weights, for frames that repeat each other.
    """
    weights = np.where(used, 1.0 if shares is None else shares, 0.0) / attitudes.noise**2
    axis, cameras = settled_axis(attitudes, groups, weights, start, roll_ratio)
    own = _cameras_in_use(attitudes, groups, weights)
    frames = _linearise(attitudes, groups, own, axis, cameras, roll_ratio)
    information, _, _ = _normal_equations(frames, groups, weights)
    turns = _weighed_turns(attitudes, groups, axis, cameras, frames, roll_ratio)
    return AxisSolution(
        axis=axis,
        cameras=cameras,
        turns=turns,
        misfit=frames.misfit,
        design=frames.design,
        information=information,
        chi_square=float(np.sum(weights[:, None] * frames.misfit**2 / frames.variances[groups])),
        variances=frames.variances,
        weights=weights,
        models=rotation_matrix(axis, turns) @ cameras[groups],
        planes=frames.planes,
    )


def settled_axis(
    attitudes: Attitudes, groups: Ints, weights: Array, start: Array, roll_ratio: float
) -> tuple[Array, Array]:
    """Return the axis of `solve_axis`, shape (3,), and the groups' cameras, shape (g, 3, 3), alone.

    Parameters
    ----------
    attitudes, groups, start, roll_ratio
        As for `solve_axis`.
    weights : ndarray, shape (n,)
        Of the frames, zero for those not in use. [rad^-2]
    """
    own = _cameras_in_use(attitudes, groups, weights)
    axis, cameras = start, _first_cameras(attitudes, groups, weights, start)
    for _ in range(MOST_STEPS):
        frames = _linearise(attitudes, groups, own, axis, cameras, roll_ratio)
        information, gradient, means = _normal_equations(frames, groups, weights)
        step = np.linalg.lstsq(information, gradient, rcond=1e-14)[0]
        shift = means[:, :, 0] - means[:, :, 1:] @ step
        turned = _small_rotation(frames.levers @ step)
        axis = unit(turned @ axis)
        # the cameras turn with the axis and take up their group's mean misfit
        cameras = turned @ cameras @ _small_rotation(np.einsum("gic,gc->gi", frames.planes, shift))
        if max(np.abs(step).max(), np.abs(shift).max()) < SETTLED:
            break
    return axis, cameras


@dataclass(frozen=True, slots=True)
class _Linearised:
    """The model's first-order behaviour around an axis and its cameras; shapes as in AxisSolution."""

    turns: Array
    models: Array
    misfit: Array
    design: Array
    levers: Array  # (3, 2): rotation vectors that displace the axis along its tangent basis
    planes: Array  # (g, 3, 2): the declination and roll component's axes in the camera
    variances: Array


def _first_cameras(attitudes: Attitudes, groups: Ints, weights: Array, axis: Array) -> Array:
    cameras = np.empty((int(groups.max()) + 1, 3, 3))
    for g in range(len(cameras)):
        members = attitudes.matrices[(groups == g) & (weights > 0)]
        turns = turn_about(axis, members @ members[0].T)
        u, _, vt = np.linalg.svd(np.sum(rotation_matrix(axis, -turns) @ members, axis=0))
        cameras[g] = u @ np.diag([1, 1, np.linalg.det(u) * np.linalg.det(vt)]) @ vt
    return cameras


def _cameras_in_use(attitudes: Attitudes, groups: Ints, weights: Array) -> Ints:
    """Camera of each group, shape (g,); frames not in use may be guests from another camera."""
    return np.array(
        [attitudes.camera[(groups == g) & (weights > 0)][0] for g in range(int(groups.max()) + 1)]
    )


def _linearise(
    attitudes: Attitudes, groups: Ints, group_camera: Ints, axis: Array, cameras: Array, roll_ratio: float
) -> _Linearised:
    own = cameras[groups]
    turns = turn_about(axis, attitudes.matrices @ np.swapaxes(own, -1, -2))
    models = rotation_matrix(axis, turns) @ own
    planes, variances = _components(attitudes, group_camera, axis, cameras, roll_ratio)
    levers = axis_levers(axis)
    apart = rotation_vector(np.swapaxes(models, -1, -2) @ attitudes.matrices)
    misfit = np.einsum("nic,ni->nc", planes[groups], apart)
    design = np.einsum("nic,nji,jk->nck", planes[groups], models, levers)
    return _Linearised(turns, models, misfit, design, levers, planes, variances)


def _weighed_turns(
    attitudes: Attitudes, groups: Ints, axis: Array, cameras: Array, frames: _Linearised, roll_ratio: float
) -> Array:
    """Turns that fit best with roll weighed as it deserves, where `turn_about` weighs it like pointing.

    They do not bear on the axis, only on what is left over of each frame.
    """
    boresight = attitudes.boresights[attitudes.camera]
    inner = np.einsum("gji,j->gi", cameras, axis)[groups]
    apart = rotation_vector(np.swapaxes(frames.models, -1, -2) @ attitudes.matrices)
    less = 1 - attitudes.roll_moments[attitudes.camera] / roll_ratio**2
    along = np.einsum("ni,ni->n", inner, boresight)
    weighed = np.einsum("ni,ni->n", inner, apart) - less * along * np.einsum("ni,ni->n", boresight, apart)
    return np.asarray(frames.turns + weighed / (1 - less * along**2))


def _components(
    attitudes: Attitudes, camera: Ints, axis: Array, cameras: Array, roll_ratio: float
) -> tuple[Array, Array]:
    """Axes (g, 3, 2) and relative variances (g, 2) of the declination and roll component."""
    boresight = attitudes.boresights[camera]
    inner = np.einsum("gji,j->gi", cameras, axis)  # the axis as the camera sees it
    normal = cross(boresight, inner)
    sine = np.linalg.norm(normal, axis=-1)
    for g in np.flatnonzero(sine < 1e-9):  # on the axis itself every direction across it will do
        normal[g] = tangent_basis(inner[g])[:, 0]
    normal = unit(normal)
    planes = np.stack([normal, cross(normal, inner)], axis=-1)
    roll = roll_variance(sine**2, roll_ratio, attitudes.roll_moments[camera])
    return planes, np.stack([np.ones_like(roll), roll], axis=-1)


def _normal_equations(frames: _Linearised, groups: Ints, weights: Array) -> tuple[Array, Array, Array]:
    """Information (2, 2), gradient (2,), and each group's mean (g, 2, 3) of misfit and design."""
    rows = np.concatenate([frames.misfit[..., None], frames.design], axis=-1)
    count = len(frames.planes)
    means = group_means(rows, groups, weights, count)
    centred = rows - means[groups]
    moments = np.einsum("nc,nci,ncj->ij", weights[:, None] / frames.variances[groups], centred, centred)
    return moments[1:, 1:], moments[1:, 0], means


def _small_rotation(vector: Array) -> Array:
    angle = np.linalg.norm(vector, axis=-1)
    return rotation_matrix(vector / np.maximum(angle, 1e-300)[..., None], angle)
