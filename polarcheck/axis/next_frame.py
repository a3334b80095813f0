"""Which further frame would narrow the axis most, among those that the mount can reach from where it stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.fit import AxisFit, axis_angle
from polarcheck.axis.groups import group_means
from polarcheck.axis.least_squares import axis_levers
from polarcheck.axis.reach import Reach
from polarcheck.constants import DEGREE
from polarcheck.vectors import Array, rotation_matrix, wrap

__all__ = ["NextFrame", "best_next_frame", "reachable_turns"]

Bools = npt.NDArray[np.bool_]

_STEP = 5 * DEGREE  # nobody sets a circle finer than that in the dark
_AS_GOOD = 1.03  # a shorter turn is taken for a sigma larger by no more than this


@dataclass(frozen=True, slots=True)
class NextFrame:
    """The one further frame that would narrow the axis most.

    Attributes
    ----------
    turn : float
        About the right-ascension axis from where the last frame in use was taken, westward; tracking goes on. [rad]
    axis_angle : float
        Where that is. [rad]
    direction : ndarray, shape (3,)
        Where the camera then points, East-North-Up.
    sigma_now, sigma_then : float
        Larger one-sigma half-axis of the axis' error ellipse, now and with that frame. [rad]
    """

    turn: float
    axis_angle: float
    direction: Array
    sigma_now: float
    sigma_then: float


def best_next_frame(fit: AxisFit, north: bool, reach: Reach | None = None) -> NextFrame | None:
    """Find the turn, with declination clamped as in the last frame, after which a frame would help most.

    Parameters
    ----------
    fit : AxisFit
        What there is.
    north : bool
        Whether the axis points at the north celestial pole.
    reach : Reach, optional
        What the mount can point at; if not given, everything above 15 deg on the side of the pier that the frames show.

    Returns
    -------
    NextFrame or None
        In steps of 5 deg, the shortest turn of those that are as good within 3 %. None when nothing can be reached,
        and after guided frames: guiding moves the declination, so what comes next is a sweep of its own.
    """
    if fit.is_guided:
        return None
    last = int(np.flatnonzero(fit.used)[-1])
    group = int(fit.groups[last])
    members = fit.used & (fit.groups == group)
    boresight = fit.attitudes.matrices[last] @ fit.attitudes.boresights[fit.attitudes.camera[last]]
    turns: Array = np.arange(-180.0, 181.0, 5.0) * DEGREE
    pointing = rotation_matrix(fit.axis, turns * (-1.0 if north else 1.0)) @ boresight
    angle = float(fit.axis_angles[last])
    open_turns = reachable_turns(reach or Reach(), turns, pointing, angle, fit.axis_angles[members])
    if not open_turns.any():
        return None
    sigma = np.where(open_turns, _sigma_with(fit, last, turns * (-1.0 if north else 1.0)), np.inf)
    good = np.flatnonzero(sigma <= _AS_GOOD * sigma.min())
    best = int(good[np.argmin(np.abs(turns[good]))])
    now = fit.noise / np.sqrt(max(np.linalg.eigvalsh(fit.solution.information)[0], 1e-300))
    there = float(axis_angle(fit.axis, pointing[best], north))
    return NextFrame(float(turns[best]), there, pointing[best], float(now), float(sigma[best]))


def reachable_turns(reach: Reach, turns: Array, pointing: Array, angle: float, taken: Array) -> Bools:
    """Return which turns from where the mount stands lead to places that it can reach without leaving its side.

    Parameters
    ----------
    reach : Reach
    turns : ndarray, shape (m,)
        Westward. [rad]
    pointing : ndarray, shape (m, 3)
        Where the camera points after each.
    angle : float
        Axis angle of where the mount stands. [rad]
    taken : ndarray, shape (n,)
        Axis angles of the frames of the sweep so far. [rad]
    """
    together = angle + wrap(taken - angle)  # unwrapped around where it stands
    there = angle + turns
    windows = reach.windows_with(together)
    inside = np.zeros(len(turns), dtype=bool)
    for begin, end in windows:
        inside |= (there >= begin - 1e-9) & (there <= end + 1e-9)
    if not windows:  # the mount does more than the limits say
        inside[:] = True
    span = np.maximum(there, together.max()) - np.minimum(there, together.min())
    short = span <= max(reach.limits.arc, float(np.ptp(together))) + 1e-9
    moved = np.abs(turns) >= _STEP - 1e-9
    return np.asarray(moved & inside & short & reach.limits.allows_turn(there) & reach.sees(pointing))


def _sigma_with(fit: AxisFit, last: int, turns: Array) -> Array:
    """Larger half-axis with one more frame at right-handed turns from the last one. [rad]"""
    group = int(fit.groups[last])
    model = fit.solution.models[last]
    rotations = rotation_matrix(fit.axis, turns)
    planes = model @ fit.solution.planes[group]
    design = np.einsum("ic,nji,jk->nck", planes, rotations, axis_levers(fit.axis))
    weights = np.where(fit.groups == group, fit.solution.weights, 0.0)
    mean, total = (
        group_means(fit.solution.design, fit.groups, weights, len(fit.camera_axes))[group],
        float(weights.sum()),
    )
    weight = 1 / fit.attitudes.noise[last] ** 2
    gain = weight * total / (weight + total) / fit.solution.variances[group]
    lever = design - mean
    added = fit.solution.information + np.einsum("nci,c,ncj->nij", lever, gain, lever)
    return np.asarray(fit.noise / np.sqrt(np.maximum(np.linalg.eigvalsh(added)[:, 0], 1e-300)))
