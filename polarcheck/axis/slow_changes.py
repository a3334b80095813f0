"""What changes from frame to frame while a sweep goes on, and a rigid turn does not explain.

- A *declination that moved at every position*: places contradict the axis, while the rotations agree about one. The
  declination axis lies across the plane of boresight and axis, so a declination that moves leaves the direction in
  which the camera sees the axis: the rotations alone still give it.
- A *bend*: the axis itself sinks or swings steadily (a tripod on soft ground), or the declination creeps. Most of it
  looks like another axis; what is left grows smoothly through the sweep.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.consensus import PRIOR_DOF
from polarcheck.axis.fit import AxisFit
from polarcheck.axis.flexure import Creep, fit_creeping_axis
from polarcheck.axis.groups import group_means
from polarcheck.axis.least_squares import solve_axis
from polarcheck.constants import ARCMIN
from polarcheck.errors import GeometryError
from polarcheck.vectors import Array, rotation_matrix, tangent_basis, unit

__all__ = ["bent_of", "fit_sweep", "scatter_beside_a_bend"]

_NOISY = 3.0  # scatter over assumed noise up to which a bend is all that happened to the frames
_BEND = 1e-4  # chance of a smooth change as large by noise, below which it is told
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
    bent, left = bent_of(fit, elapsed)
    is_whole = (
        bool(fit.used.all()) and len(fit.group_sizes) == fit.attitudes.camera.max() + 1 and not fit.turns
    )
    if bent.slow_change and left <= scatter_beside_a_bend(fit.noise, is_whole):
        return bent, None
    return (_of_rotations(fit, observed, fitted) if fit.slow_change else fit), None


def scatter_beside_a_bend(noise: float, is_whole: bool) -> float:
    """Return the scatter over assumed noise up to which a bend is all that happened to the frames.

    Parameters
    ----------
    noise : float
        Scatter of the explanation without a bend.
    is_whole : bool
        Whether that one holds all frames as one, too.
    """
    return _NOISY if is_whole else max(noise, 1.0)


def _of_rotations(fit: AxisFit, observed: Array, fitted: Callable[[Array], AxisFit]) -> AxisFit:
    """The same fit, its residuals those of the frames brought to one declination."""
    try:
        undone = fitted(_with_one_declination(fit.attitudes, fit.axis, observed))
    except GeometryError:
        return fit
    return replace(
        undone,
        axis=fit.axis,
        covariance=fit.covariance,
        degrees_of_freedom=fit.degrees_of_freedom,
        noise=fit.noise,
        used=fit.used,
        agrees=fit.agrees,
        solution=replace(undone.solution, information=fit.solution.information),
        slow_change="declination",
    )


def _with_one_declination(attitudes: Attitudes, axis: Array, observed: Array) -> Array:
    """Directions, shape (n, k, 3), as they would be had all frames the last one's declination."""
    boresight = np.einsum("nij,nj->ni", attitudes.matrices, attitudes.boresights[attitudes.camera])
    distance = np.arctan2(np.linalg.norm(np.cross(boresight, axis), axis=-1), boresight @ axis)
    about = unit(np.cross(boresight, axis))
    return np.asarray(np.einsum("nij,nkj->nki", rotation_matrix(about, distance - distance[-1]), observed))


def bent_of(fit: AxisFit, elapsed: Array) -> tuple[AxisFit, float]:
    """Return the fit, widened and marked where all frames' misfits grow smoothly; the scatter that then remains."""
    from scipy.special import fdtrc  # a quick test, but not at import

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
    scatter = (PRIOR_DOF + left) / (PRIOR_DOF + dof)
    remains = float(np.sqrt(scatter))
    if gain <= 0 or float(fdtrc(_SMOOTH, PRIOR_DOF + dof, gain / _SMOOTH / scatter)) > _BEND:
        return fit, remains
    now = unit(whole.axis + tangent_basis(whole.axis) @ solved[:2])
    apart = tangent_basis(fit.axis).T @ now
    return replace(fit, covariance=fit.covariance + np.outer(apart, apart), slow_change="bend"), remains
