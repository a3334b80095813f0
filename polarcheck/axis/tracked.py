"""The axis from frames that a mount took while it followed the sky.

What only a tracked sequence has: errors that last from frame to frame, a guider that holds the field, and a place
and a rotation that may contradict each other. A guider turns the mount about both its axes, so that the field's
place tells nothing about the axis and its rotation everything.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.correlation import Component
from polarcheck.axis.course import Track
from polarcheck.axis.least_squares import MOST_STEPS, SETTLED, turn_about
from polarcheck.axis.mixture import Estimate, estimate
from polarcheck.axis.polar import PolarPlaces, polar_places
from polarcheck.axis.run_off import run_off
from polarcheck.axis.sorting import Break, sorted_frames
from polarcheck.axis.stillness import is_slow, is_still
from polarcheck.axis.tracked_equations import assumed, equations_of, out_of_square, plain_step
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import GeometryError
from polarcheck.vectors import Array, tangent_basis, unit

__all__ = ["TrackedAxis", "contradiction_of", "fit_tracked", "is_coarse", "joined", "sides_of"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_LEAST_FRAMES = 5  # tracked without guiding; fewer are fitted like a sweep
_FREEDOM = 12  # observations that count in judging such chances: how long errors last is known from few
_UNLIKELY = 1e-3  # chance below which place and rotation contradict each other
_MOVED = 1e-2  # chance below which the axis before a step is not the one after it;
# the same where the mount went to another field, and nothing else says that it was knocked
_MOVED_UNSEEN = 1e-4
_COARSE = 3 * ARCMIN  # sigma by rotation alone above which it cannot vouch for a field that drifts slowly
_SIDEWAYS = 3.0  # how far the camera may shift or turn sideways, over what the mount runs off the sky's rate


@dataclass(frozen=True, slots=True)
class TrackedAxis:
    """The axis from tracked frames.

    Attributes
    ----------
    axis : ndarray, shape (3,)
        The elevated end.
    covariance : ndarray, shape (2, 2)
        On its tangent plane. [rad^2]
    estimate : Estimate
        The last fit: noise and how long it lasts, of the declination (unless all is guided) and of the roll.
    used : ndarray of bool, shape (n,)
        Frames in use.
    groups : ndarray of int, shape (n,)
        Group of each frame.
    guided : ndarray of bool, shape (g,)
        Groups whose field a guider held, so that only their rotation counts.
    places : PolarPlaces
        Where each frame's camera sees the axis.
    contradiction : ndarray, shape (2,), or None
        The axis from rotation alone less the one from place alone, where they contradict each other. [rad]
    knocked_before : int or None
        First frame after the mount was moved as a whole; only later ones are in use.
    may_be_guided : bool
        Whether the field drifts so slowly that a guider may hold it, and its rotation is too coarse to tell.
    """

    axis: Array
    covariance: Array
    estimate: Estimate
    used: Bools
    groups: Ints
    guided: Bools
    places: PolarPlaces
    contradiction: Array | None = None
    knocked_before: int | None = None
    may_be_guided: bool = False


def fit_tracked(
    attitudes: Attitudes, track: Track, pole: Array, guided: bool | None = None
) -> TrackedAxis | None:
    """Fit the axis to frames that followed one field or several.

    Parameters
    ----------
    attitudes : Attitudes
        The frames in order of time.
    track : Track
        What they followed.
    pole : ndarray, shape (3,)
        First guess.
    guided : bool, optional
        Whether a guider held a star; the frames tell if not given.

    Returns
    -------
    TrackedAxis or None
        None where the frames, unguided, are too few to tell more than those of a sweep do.

    Raises
    ------
    GeometryError
        Guided frames whose rotation cannot tell the axis.
    """
    frames = sorted_frames(attitudes, track, pole)
    groups, used = frames.groups, frames.used
    held = _held(attitudes, track, groups, used) if guided is None else np.full(groups.max() + 1, guided)
    if not held.all() and np.count_nonzero(used) < _LEAST_FRAMES:
        return None
    _require_rotation(attitudes, groups, used, held, pole)
    found = _solved(attitudes, track.seconds, groups, used, held, pole)
    if found.contradiction is not None and guided is None:
        held = held | _slow(track, groups, used, len(held))
        if held.any():
            found = _solved(attitudes, track.seconds, groups, used, held, pole)
    if guided is None and not held.any() and _slow(track, groups, used, len(held)).all():
        rotation = _solved(attitudes, track.seconds, groups, used, ~held, found.axis).covariance
        found = replace(found, may_be_guided=is_coarse(rotation))
    for one in frames.breaks[::-1]:
        found = _across(attitudes, track.seconds, found, one)
        if found.knocked_before is not None:
            break
    return found


def _held(attitudes: Attitudes, track: Track, groups: Ints, used: Bools) -> Bools:
    held = np.zeros(groups.max() + 1, dtype=bool)
    for g in range(len(held)):
        mine = used & (groups == g)
        held[g] = is_still(track.places[mine], track.seconds[mine], float(np.median(attitudes.noise[mine])))
    return held


def _require_rotation(attitudes: Attitudes, groups: Ints, used: Bools, held: Bools, axis: Array) -> None:
    """Refuse guided frames that are too few to tell two components of the axis by their rotation.

    Raises
    ------
    GeometryError
    """
    count = int(np.count_nonzero(used))
    if not held.all() or count - len(np.unique(groups[used])) >= 2:
        return
    turns = _turns(attitudes, groups, used, axis)
    raise GeometryError(
        f"the field of these {count} frames stands still, as under a guider: guided frames tell of the axis by their "
        "rotation only, and so few tell nothing. Take a sweep, the declination clamped and guiding off; or, if no "
        "guider was at work here, say so",
        turns,
        ["frames_guided"],
    )


def _turns(attitudes: Attitudes, groups: Ints, used: Bools, axis: Array) -> float:
    """Largest turn about the axis within a group. [deg]"""
    found = 0.0
    for g in np.unique(groups[used]):
        matrices = attitudes.matrices[used & (groups == g)]
        found = max(found, float(np.abs(turn_about(axis, matrices @ matrices[0].T)).max()) / DEGREE)
    return found


def _slow(track: Track, groups: Ints, used: Bools, count: int) -> Bools:
    members = [used & (groups == g) for g in range(count)]
    return np.array([is_slow(track.places[mine], track.seconds[mine]) for mine in members])


def _across(attitudes: Attitudes, seconds: Array, found: TrackedAxis, step: Break) -> TrackedAxis:
    """What a step allows: if the mount was knocked, only later frames count; if it may have been, sigma holds it.

    The axis may have moved as far as the frames stepped. The frames before count with that, where it helps.
    """
    sides = sides_of(found.used, step.first)
    if sides is None:
        return replace(found, covariance=found.covariance + step.size**2 * np.eye(2))
    before, after = (
        _solved(attitudes, seconds, found.groups, side, found.guided, found.axis) for side in sides
    )
    return joined(found, before, after, step)


def is_coarse(covariance: Array) -> bool:
    """Whether an axis by rotation alone, of a covariance of shape (2, 2) [rad^2], is too coarse to vouch for its field."""
    return float(np.sqrt(np.linalg.eigvalsh(covariance)[-1])) > _COARSE


def sides_of(used: Bools, first: int) -> tuple[Bools, Bools] | None:
    """Return the frames in use before a step and after it; None where either are too few for an axis of their own."""
    later = np.arange(len(used)) >= first
    sides = used & ~later, used & later
    return sides if min(np.count_nonzero(side) for side in sides) >= _LEAST_FRAMES else None


def joined(found: TrackedAxis, before: TrackedAxis, after: TrackedAxis, step: Break) -> TrackedAxis:
    """Return the axis after a step, from all frames where it is the same as before it, else from the later ones.

    Parameters
    ----------
    found, before, after : TrackedAxis
        By all frames in use, by those before the step, and by those after it.
    step : Break
        How far the frames stepped, as the axis may have.
    """
    apart = tangent_basis(after.axis).T @ (after.axis - before.axis)
    chance = _chance(apart, before.covariance + after.covariance, _FREEDOM)
    share = found.covariance @ np.linalg.inv(before.covariance)
    covariance = found.covariance + step.size**2 * share @ share.T
    if chance > (_MOVED if step.size else _MOVED_UNSEEN) and np.trace(covariance) < np.trace(
        after.covariance
    ):
        return replace(found, covariance=covariance)
    return replace(_alone(after), knocked_before=step.first)


def _alone(found: TrackedAxis) -> TrackedAxis:
    """The same without groups that have no frame in use; their frames are guests of the first group."""
    live = np.unique(found.groups[found.used])
    number = np.zeros(len(found.guided), dtype=int)
    number[live] = np.arange(len(live))
    return replace(found, groups=number[found.groups], guided=found.guided[live])


def _solved(
    attitudes: Attitudes, seconds: Array, groups: Ints, used: Bools, guided: Bools, start: Array
) -> TrackedAxis:
    axis = start
    for _ in range(MOST_STEPS):
        places = polar_places(attitudes, axis)
        step = plain_step(attitudes, places, groups, used, guided)
        axis = _moved(axis, step)
        if np.abs(step).max() < SETTLED:
            break
    places = polar_places(attitudes, axis)
    place, rotation = equations_of(attitudes, places, seconds, groups, used, guided)
    contradiction = None
    if place is None:
        both = estimate(Component.of(rotation)) or assumed(rotation)
    else:
        moves, turns = Component.of(place), Component.of(rotation)
        contradiction = contradiction_of(estimate(moves), estimate(turns), min(moves.freedom, turns.freedom))
        ran_off = run_off(attitudes, seconds, groups, used & ~guided[groups], axis)
        both = estimate(moves, turns, steady=_SIDEWAYS * ran_off) or assumed(rotation)
    final = _moved(axis, both.step)
    return TrackedAxis(
        axis=final,
        covariance=both.covariance + out_of_square(rotation, places, groups, used, guided),
        estimate=both,
        used=used,
        groups=groups,
        guided=guided,
        places=polar_places(attitudes, final),
        contradiction=contradiction,
    )


def _moved(axis: Array, step: Array) -> Array:
    return unit(axis + tangent_basis(axis) @ step)


def contradiction_of(place: Estimate | None, rotation: Estimate | None, freedom: int) -> Array | None:
    """Return rotation's axis less place's, shape (2,), where chance hardly parts them so. [rad]

    Parameters
    ----------
    place, rotation : Estimate or None
        Of the axis' displacement.
    freedom : int
        Degrees of freedom of the one that has fewer.
    """
    if place is None or rotation is None:
        return None
    apart = rotation.step - place.step
    counted = float(min(freedom, _FREEDOM - len(apart)))
    unlikely = counted > 0 and _chance(apart, place.covariance + rotation.covariance, counted) <= _UNLIKELY
    return apart if unlikely else None


def _chance(apart: Array, covariance: Array, freedom: float) -> float:
    """Chance of a displacement at least as large (Hotelling's T squared as an F with 2 and so many)."""
    f = float(apart @ np.linalg.solve(covariance, apart)) / 2
    return float((1 + 2 * f / freedom) ** (-freedom / 2))
