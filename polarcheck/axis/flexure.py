"""What sag and creep do to the fitted axis, and the creep that a frame taken back betrays.

Sag follows gravity as the mount turns, creep goes on with time. A declination that changes as the sine and
cosine of the axis angle looks exactly like an axis that stands elsewhere, and over one sweep a steady creep
nearly does: the residuals hardly show either. So the axis carries an allowance for both beside its noise.

- *Sag*: the camera turns by a rotation vector that is linear in the direction of gravity as the camera feels
  it, ``size * M @ gravity``; of all `M` with a Frobenius norm of 1 the worst counts. A boresight that drops by
  `size` where the tube lies level is one of them.
- *Creep*: the camera turns steadily by `size` from the first frame in use to the last, about the declination
  axis or across it. It is no longer allowed for once it is measured.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from polarcheck.axis.fit import AxisFit
from polarcheck.axis.least_squares import solve_axis
from polarcheck.axis.noise import observation_equations
from polarcheck.constants import ARCMIN, ARCSEC
from polarcheck.errors import GeometryError
from polarcheck.vectors import Array, rotation_matrix

__all__ = ["Creep", "Trace", "fit_creeping_axis", "flexure_region", "holds_as_well"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_DOWN = np.array([0.0, 0.0, -1.0])
_VISIBLE = 0.1
"""Share of a steady creep's squared misfits that no displacement of the axis can imitate, above which it is
solved for: a steady sweep leaves less than 0.01, a frame taken back more than 0.3."""
_LARGEST = 5 * ARCMIN  # a declination that moved by more slipped
_ROUNDS = 3  # of undoing what creep is found
_SETTLED = 1e-3  # of the creep's sigma: less is not undone any more
_ALIKE = 1.8  # ratio of scatters up to which explanations fit alike


@dataclass(frozen=True, slots=True)
class Creep:
    """A steady change of declination that the frames betray.

    Attributes
    ----------
    amount : float
        From the first frame in use to the last; positive towards the elevated pole. [rad]
    sigma : float
        Its standard error. [rad]
    """

    amount: float
    sigma: float


def flexure_region(fit: AxisFit, size: float, elapsed: Array, creep: Creep | None = None) -> Array:
    """Return where sag and creep of one size may move the axis, as a symmetric matrix, shape (2, 2).

    Parameters
    ----------
    fit : AxisFit
        The fit whose geometry counts.
    size : float
        Of sag and of creep. [rad]
    elapsed : ndarray, shape (n,)
        When the frames were taken. [s]
    creep : Creep, optional
        The creep that was solved for; none is allowed for then.

    Returns
    -------
    ndarray, shape (2, 2)
        On the tangent plane (azimuth times cos altitude, altitude). Along a unit vector `u` the axis may be
        off by the root of ``u @ region @ u``, with sag and creep at their worst at once. [rad^2]
    """
    steady = _declining(_since_last(elapsed, fit.used))
    sag = _spread(_shifts(fit, _sagging(fit), steady if creep else None))
    if creep:
        return np.asarray(size**2 * sag)
    return size**2 * _sum_of_regions(sag, _spread(_shifts(fit, [steady, steady[:, ::-1]])))


def fit_creeping_axis(
    observed: Array, elapsed: Array, fitted: Callable[[Array], AxisFit]
) -> tuple[AxisFit, Creep | None]:
    """Fit the axis, and a steady creep of the declination where a frame taken back betrays it.

    Parameters
    ----------
    observed : ndarray, shape (n, k, 3)
        As for `fit_axis`.
    elapsed : ndarray, shape (n,)
        When the frames were taken. [s]
    fitted : callable
        Fits the axis to observed directions, `fit_axis` with all else that it needs.

    Returns
    -------
    AxisFit
        Its covariance holds that of the creep; the axis' place in the camera is that of the last frame in use.
    Creep or None
        None where the frames' order hides a creep: in a steady sweep it looks like another axis. None for frames
        that followed the sky: there it is one of the errors that last.

    Raises
    ------
    GeometryError
        As `fit_axis`.
    """
    plain = fitted(observed)
    if plain.tracked is not None:
        return plain, None
    for start in _starts(plain):
        crept = _creeping(start, observed, elapsed, fitted)
        if crept is not None and _explains(crept[0], start, plain):
            return crept
    return plain, None


def _starts(plain: AxisFit) -> list[AxisFit]:
    """What may creep: all frames of each camera as one group, else the frames that agree without a creep."""
    attitudes = plain.turns.as_taken(plain.attitudes) if plain.turns else plain.attitudes
    camera = attitudes.camera
    groups = np.unique(camera, return_inverse=True)[1]
    used = np.bincount(groups)[groups] >= 2
    is_whole = (plain.used == used).all() and len(plain.camera_axes) == groups.max() + 1
    if not used.all() or (is_whole and not plain.turns and not plain.slow_change):
        return [plain]
    solution = solve_axis(attitudes, groups, used, plain.axis, roll_ratio=plain.roll_ratio)
    whole = replace(plain, solution=solution, attitudes=attitudes, groups=groups, used=used)
    return [whole] if plain.turns or plain.slow_change else [whole, plain]


def _creeping(
    start: AxisFit, observed: Array, elapsed: Array, fitted: Callable[[Array], AxisFit]
) -> tuple[AxisFit, Creep] | None:
    """The fit to the frames with the creep undone that a fit's own frames show; None where they hide it."""
    since = _since_last(elapsed, start.used)
    amount, fit = 0.0, start
    trace = _trace(fit, since)
    for _ in range(_ROUNDS):
        if trace.visible < _VISIBLE or fit.degrees_of_freedom < 2:
            return None
        if amount and trace.is_settled(fit.noise):
            break
        amount += trace.amount
        if abs(amount) > _LARGEST:
            return None
        undone = _undone(start, observed, amount * since)
        try:
            fit = fitted(undone)
        except GeometryError:
            return None
        if fit.tracked is not None or not (fit.used == start.used).all():
            return None
        trace = _trace(fit, since)
    dof = max(fit.degrees_of_freedom - 1, 1)
    scale = fit.degrees_of_freedom / dof
    sigma = fit.noise * np.sqrt(scale / trace.information)
    covariance = scale * fit.covariance + sigma**2 * np.outer(trace.lever, trace.lever)
    wider = replace(
        fit, covariance=covariance, degrees_of_freedom=dof, noise=fit.noise * float(np.sqrt(scale))
    )
    return wider, Creep(amount, float(sigma))


def _explains(crept: AxisFit, start: AxisFit, plain: AxisFit) -> bool:
    """Whether the creep holds all frames of its start as well as the plain explanation holds its own."""
    if start is plain:
        return True
    whole = crept.agrees and crept.knocked_before is None and (crept.groups == start.groups)[crept.used].all()
    return bool(whole and holds_as_well(crept.noise, plain.noise, bool(plain.used.all())))


def holds_as_well(noise: float, plain: float, plain_holds_all: bool) -> bool:
    """Whether a creep explains as well as its rival, which may hold a part of the frames only, by their scatters."""
    # a scatter within the assumed noise is as good as any: the creep asks for one number, a turn for two
    return noise <= max(plain, 1.0) * (1.0 if plain_holds_all else _ALIKE)


@dataclass(frozen=True, slots=True)
class Trace:
    """What the misfits of a fit say about a further steady creep.

    `visible` is the share of its squares that no axis imitates, `lever` the axis' displacement by a unit of
    creep that is not solved for, `information` one over the variance of `amount` for noise as assumed.
    """

    amount: float
    visible: float
    information: float
    lever: Array

    def is_settled(self, noise: float) -> bool:
        """Whether so little of a creep is left, beside its sigma for a scatter over the assumed noise, that it may stay."""
        return abs(self.amount) < _SETTLED * noise / float(np.sqrt(self.information))


def _trace(fit: AxisFit, since: Array) -> Trace:
    unit_creep = ARCSEC * _declining(since)
    information, pull, square = _normal(fit, unit_creep)
    _, gradient, left = _normal(fit, fit.solution.misfit)
    _, _, both = _normal(fit, fit.solution.misfit + unit_creep)
    lever = np.linalg.pinv(information, hermitian=True) @ pull
    own = square - float(pull @ lever)
    amount = ((both - left - square) / 2 - float(gradient @ lever)) / max(own, 1e-300)
    return Trace(amount * ARCSEC, own / max(square, 1e-300), own / ARCSEC**2, lever / ARCSEC)


def _normal(fit: AxisFit, misfit: Array) -> tuple[Array, Array, float]:
    """Information, gradient and weighted square of misfits laid over a fit's frames."""
    equations = observation_equations(fit.attitudes, fit.solution, fit.groups, fit.used, fit.station, misfit)
    return equations.normal(fit.roll_ratio)


def _shifts(fit: AxisFit, patterns: Sequence[Array], solved: Array | None = None) -> Array:
    """Displacements of the axis by misfits, shape (p, 2), where the amount of one pattern is solved for."""
    information, *_ = _normal(fit, patterns[0])
    gradients = np.stack([_normal(fit, pattern)[1] for pattern in patterns])
    if solved is not None:
        _, pull, square = _normal(fit, solved)
        squares = [(_normal(fit, p + solved)[2] - _normal(fit, p - solved)[2]) / 4 for p in patterns]
        information = information - np.outer(pull, pull) / square
        gradients = gradients - np.outer(np.array(squares) / square, pull)
    return np.asarray(gradients @ np.linalg.pinv(information, hermitian=True))


def _spread(shifts: Array) -> Array:
    return np.asarray(shifts.T @ shifts)


def _sum_of_regions(first: Array, second: Array) -> Array:
    """The ellipse of least trace that holds every sum of a vector in one and a vector in the other."""
    ratio = np.sqrt(max(float(np.trace(second)), 1e-300) / max(float(np.trace(first)), 1e-300))
    held: Array = (1 + ratio) * first + (1 + 1 / ratio) * second
    return held


def _components(fit: AxisFit, turning: Array) -> Array:
    """Declination and roll component, shape (n, 2), of rotation vectors in the camera, shape (n, 3)."""
    return np.asarray(np.einsum("nic,ni->nc", fit.solution.planes[fit.groups], turning))


def _sagging(fit: AxisFit) -> list[Array]:
    """Misfits by nine independent ways, for each camera, in which a unit of sag may turn it."""
    gravity = np.einsum("nji,j->ni", fit.solution.models, _DOWN)
    patterns = []
    for camera in np.unique(fit.attitudes.camera[fit.used]):
        felt = np.where((fit.attitudes.camera == camera)[:, None], gravity, 0.0)
        for about in np.eye(3):
            patterns += [_components(fit, column[:, None] * about) for column in felt.T]
    return patterns


def _declining(since: Array) -> Array:
    return np.stack([since, np.zeros_like(since)], axis=-1)


def _since_last(elapsed: Array, used: Bools) -> Array:
    """Time as a share of that from the first frame in use to the last, shape (n,), 0 at the last."""
    first, last = elapsed[used].min(), elapsed[used].max()
    return np.asarray((elapsed - last) / max(last - first, 1e-9))


def _undone(fit: AxisFit, observed: Array, crept: Array) -> Array:
    """Directions, shape (n, k, 3), as they would be had the declination not crept by an angle. [rad]"""
    about = np.einsum("nij,nj->ni", fit.attitudes.matrices, fit.solution.planes[fit.groups, :, 0])
    return np.asarray(np.einsum("nij,nkj->nki", rotation_matrix(about, -crept), observed))
