"""From an axis error to knob moves: which one, which way, how far, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from polarcheck.alignment import Alignment, AlignmentLike, as_alignment, interval_factor
from polarcheck.axis import Reach
from polarcheck.constants import ARCMIN
from polarcheck.given import PathLike
from polarcheck.knobs.advice import Goal, Next, advise, choose_knobs
from polarcheck.knobs.clamps import tightened
from polarcheck.knobs.goal import GOAL_ARCMIN, reachable_goal
from polarcheck.knobs.moves import Move, knob_moves
from polarcheck.knobs.outcome import Standing
from polarcheck.knobs.positions import Positions, next_positions
from polarcheck.knobs.response import Response, learn_response
from polarcheck.knobs.spec import KnobSpec, knob_specs, stated_shift
from polarcheck.presenting import WithDict
from polarcheck.rig import Rig, as_rig
from polarcheck.vectors import Array, azalt_from_direction

__all__ = ["Correction", "Wish", "correct", "correct_knobs"]

_BOUND = 2.0  # sigmas that the allowance for sag and creep counts for, which is a bound


@dataclass(frozen=True, slots=True)
class Wish:
    """What a correction is for, and what bounds it.

    Attributes
    ----------
    goal_arcmin : float or None
        Total error that is near enough, where somebody says so. [arcmin]
    tolerance_arcmin : float or None
        Largest total error that the wanted exposure of a target allows; 0 where none does. [arcmin]
    clamp_shift_arcmin : tuple of float or None
        By what tightening shifts the axis, azimuth about the vertical and altitude; counts for what was seen with
        the clamps loose. [arcmin]
    reach : Reach
        Where frames can be taken.
    """

    goal_arcmin: float | None = None
    tolerance_arcmin: float | None = None
    clamp_shift_arcmin: tuple[float, float] | None = None
    reach: Reach = field(default_factory=Reach)


@dataclass(frozen=True, slots=True, repr=False)
class Correction(WithDict):
    """The moves, in the order in which to make them, and what to do next.

    Attributes
    ----------
    moves : tuple of Move
        Altitude first: its knob lifts the load, and the azimuth bolts hold meanwhile.
    next : Next
        Turn, take frames, or stop.
    goal : Goal
        What is near enough.
    response : Response
        What the turns were computed with.
    clamp_shift_arcmin : tuple of float or None
        Shift by tightening that the moves allow for; None where none had to be, or none is known. [arcmin]
    """

    moves: tuple[Move, ...]
    next: Next
    goal: Goal
    response: Response
    clamp_shift_arcmin: tuple[float, float] | None = None

    def __repr__(self) -> str:
        moves = ", ".join(f"{move.knob} {move.move_arcmin:+.2f} arcmin" for move in self.moves)
        return f"Correction({moves}, next: {self.next.action})"

    @property
    def worth_turning(self) -> bool:
        """Whether a turn is what to do next."""
        return self.next.action == "turn"

    @property
    def why(self) -> str:
        """The reason, in numbers."""
        return self.next.why


def correct(
    alignment: AlignmentLike,
    rig: Rig | PathLike | None = None,
    *,
    goal_arcmin: float | None = None,
    tolerance_arcmin: float | None = None,
) -> Correction:
    """Compute the knob moves that bring the axis to the pole, and what to do next.

    Parameters
    ----------
    alignment : Alignment, Measurement or Followed
        How the mount stands; its steps teach the knobs' response.
    rig : Rig or path of a rig file, optional
        What is known of the knobs and of where the mount can point.
    goal_arcmin : float, optional
        Total error that is near enough; by default what `tolerance_arcmin` says, else the rig file, else 0.5 or
        what a hand can be expected to reach. [arcmin]
    tolerance_arcmin : float, optional
        Largest total error that the wanted exposure of a target allows. [arcmin]

    Returns
    -------
    Correction
        Moves of the axis, minus the error, and the turns that make them. [arcmin], [turn]

    Raises
    ------
    InputError
        No alignment, or a rig file with a fault.
    """
    alignment, rig = as_alignment(alignment), as_rig(rig)
    stated = rig.mount.goal_arcmin if rig else None
    wanted = goal_arcmin if goal_arcmin is not None else None if tolerance_arcmin is not None else stated
    reach = rig.reach if rig else Reach()
    wish = Wish(wanted, tolerance_arcmin, stated_shift(rig), reach)
    return correct_knobs(alignment, knob_specs(rig, alignment.site.is_north), wish)


def correct_knobs(alignment: Alignment, knobs: tuple[KnobSpec, KnobSpec], wish: Wish = Wish()) -> Correction:
    """Compute the same for knobs whose action is said without a rig file.

    Parameters
    ----------
    alignment : Alignment
    knobs : tuple of KnobSpec
        Azimuth, altitude.
    wish : Wish
        Goal, clamps and limits.

    Returns
    -------
    Correction
    """
    shift = wish.clamp_shift_arcmin
    allowed = shift if alignment.is_loose else None
    if shift is not None:
        alignment = tightened(alignment, shift)
    height = float(azalt_from_direction(alignment.axis)[1])
    response = learn_response(alignment.steps, *knobs, height)
    error, standing = alignment.error, _standing(alignment)
    goal = _goal(wish, response, knobs, standing.cosine)
    made = sum(step.turned not in (None, (0.0, 0.0)) for step in alignment.steps)
    choice = choose_knobs(standing, error, response, knobs, goal, made)
    moves = knob_moves(error, choice, response, knobs, alignment.site.is_north)
    advice = advise(
        choice,
        standing,
        goal,
        partial(_positions, alignment, wish.reach),
        unknown=(not response.known[0], not response.known[1]),
        beyond=tuple(move.knob for move in moves if move.beyond_travel_arcmin),
    )
    return Correction((moves[1], moves[0]), advice, goal, response, allowed)


def _standing(alignment: Alignment) -> Standing:
    """Where the axis stands."""
    error = alignment.error
    height = float(azalt_from_direction(alignment.axis)[1])
    covariance = np.zeros((2, 2)) if alignment.covariance is None else alignment.covariance / ARCMIN**2
    offset = np.array([error.azimuth_on_sky_arcmin, error.altitude_arcmin])
    return Standing(offset, _whole_doubt(alignment, covariance), max(float(np.cos(height)), 1e-6))


def _whole_doubt(alignment: Alignment, covariance: Array) -> Array:
    """A covariance as wide as 95 % of Student's t ask, with the allowance for sag and creep. [arcmin^2]"""
    widened = interval_factor(0.95, alignment.degrees_of_freedom) / interval_factor(0.95, 0)
    doubt = widened**2 * covariance
    if alignment.systematic is not None:
        doubt = doubt + alignment.systematic.region / ARCMIN**2 / _BOUND**2
    return np.asarray(doubt)


def _positions(alignment: Alignment, reach: Reach, wanted_arcmin: float) -> Positions | None:
    """Frames for a wanted noise, with what they are expected to leave of doubt, sag and creep included."""
    found = next_positions(alignment, reach, wanted_arcmin)
    if found is None:
        return None
    return replace(found, covariance=_whole_doubt(alignment, found.covariance))


def _goal(wish: Wish, response: Response, knobs: tuple[KnobSpec, KnobSpec], cosine: float) -> Goal:
    if wish.goal_arcmin is not None:
        return Goal(wish.goal_arcmin, "asked")
    if wish.tolerance_arcmin:
        return Goal(wish.tolerance_arcmin, "target")
    hand = reachable_goal(response, knobs, cosine)
    return Goal(hand, "hand" if hand > GOAL_ARCMIN else "usual", is_vain=wish.tolerance_arcmin is not None)
