"""The last finding of the axis, what to do about it, and what that asks of the knobs."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from polarcheck.alignment import Alignment
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import InputError, Notice, PolarcheckError
from polarcheck.followup import Followed, follow_frames
from polarcheck.frames import Frame, FrameSet
from polarcheck.knobs import Correction, Move, correct, expected_move
from polarcheck.measurement import Conditions, Measurement, measure_frames
from polarcheck.rig import Rig
from polarcheck.sky import PoleKind
from polarcheck.times import add_seconds
from polarcheck.vectors import angle_between, direction_from_azalt
from polarcheck.watch.fields import Shown

__all__ = ["Finding", "Wishes", "follow_latest", "measured", "rebased", "told_by"]

_REACH, _REACH_ARCMIN = 2.5, 15.0  # times the error, and arcmin, by which knobs may move the axis


@dataclass(frozen=True, slots=True)
class Wishes:
    """What is stated of the evening.

    Attributes
    ----------
    rig : Rig or None
        What is known of knobs, camera and limits.
    conditions : Conditions
        Place, air and noise.
    pole : {"refracted", "true"}
        What errors refer to.
    goal_arcmin : float or None
        Total error that is near enough, where somebody says so. [arcmin]
    """

    rig: Rig | None = None
    conditions: Conditions = field(default_factory=Conditions)
    pole: PoleKind = "refracted"
    goal_arcmin: float | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """Where the axis was found, and the advice on it.

    Attributes
    ----------
    alignment : Alignment
    correction : Correction
        What to do about it.
    result : Measurement or Followed or None
        How it was found; None for one that the night's file remembers.
    frames : tuple of Frame
        Those it was measured from, for a sweep that may go on; empty for one that was followed or remembered.
    used : int
        How many frames bear on it.
    before : Alignment or None
        The finding that a sweep goes on from.
    told : tuple of float or None
        Turns that may have been made between the two. [turn]
    total_arcmin : float
        Axis to pole. [arcmin]
    """

    alignment: Alignment
    correction: Correction
    result: Measurement | Followed | None
    frames: tuple[Frame, ...] = ()
    used: int = 0
    before: Alignment | None = None
    told: tuple[float, float] | None = None
    total_arcmin: float = field(init=False)

    def __post_init__(self) -> None:
        """Every frame asks for the error: it is worked out once."""
        object.__setattr__(self, "total_arcmin", self.alignment.error.total_arcmin)

    @classmethod
    def of(cls, result: Measurement | Followed, wishes: Wishes, frames: Sequence[Frame] = ()) -> Finding:
        """Return a finding with its advice."""
        used = len(result.used) if isinstance(result, Measurement) else len(result.frames)
        advice = correct(result.alignment, wishes.rig, goal_arcmin=wishes.goal_arcmin)
        return cls(result.alignment, advice, result, tuple(frames), used)

    @classmethod
    def remembered(cls, alignment: Alignment, used: int, wishes: Wishes) -> Finding:
        """Return a finding of the night's file."""
        return cls(alignment, correct(alignment, wishes.rig, goal_arcmin=wishes.goal_arcmin), None, (), used)

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What must be said beside it."""
        return () if self.result is None else self.result.notices

    def uses(self, frame: Frame) -> bool:
        """Whether a frame bears on it."""
        if isinstance(self.result, Measurement):
            return any(entry.name == frame.name for entry in self.result.used)
        return self.result is not None and any(frame is one for one in self.result.frames)

    def is_out_of_reach(self, seen: Shown) -> bool:
        """Whether knobs that bring the axis nearer, or once the wrong way, cannot have moved it there.

        Hands may still do what the finding before this one asked for.
        """
        off = max(self.total_arcmin, self.before_arcmin)
        return seen.distance_arcmin > _REACH * off + _REACH_ARCMIN + 6 * seen.sigma_arcmin

    @property
    def before_arcmin(self) -> float:
        """Axis to pole at the step before; 0 where there was none. [arcmin]"""
        if len(self.alignment.steps) < 2:
            return 0.0
        step, pole = self.alignment.steps[-2], self.alignment.pole.direction
        axis = direction_from_azalt(step.azimuth_deg * DEGREE, step.altitude_deg * DEGREE)
        return float(angle_between(axis, pole)) / ARCMIN

    @property
    def utc(self) -> tuple[float, float]:
        """Mid-exposure of its last frame, two-part Julian date."""
        assert self.alignment.utc is not None
        return self.alignment.utc

    @property
    def action(self) -> str:
        """What to do next: turn, frames or stop."""
        return self.correction.next.action


def told_by(correction: Correction) -> tuple[float, float] | None:
    """Return the turns of the azimuth and the altitude knob that the advice asks for.

    Returns
    -------
    tuple of float or None
        Clockwise positive; None where it asks for some and nobody knows how many. [turn]
    """
    if not correction.worth_turning:
        return 0.0, 0.0
    told = {move.knob: _signed(move) for move in correction.moves}
    azimuth, altitude = told["azimuth"], told["altitude"]
    return None if azimuth is None or altitude is None else (azimuth, altitude)


def _signed(move: Move) -> float | None:
    if not move.turns:
        return move.turns if move.turns is None else 0.0
    return None if move.sense is None else move.turns if move.sense == "clockwise" else -move.turns


def measured(
    frames: Sequence[Frame],
    wishes: Wishes,
    before: Alignment | None = None,
    told: tuple[float, float] | None = None,
) -> Finding:
    """Measure a sweep, which goes on with the night where there was a finding before.

    Parameters
    ----------
    frames : sequence of Frame
    wishes : Wishes
    before : Alignment, optional
        The finding before.
    told : tuple of float, optional
        What was turned since, if it was turned as told. [turn]

    Raises
    ------
    PolarcheckError
        They give no honest result.
    """
    ordered = sorted(frames, key=lambda frame: (sum(frame.utc), frame.name))
    result = measure_frames(FrameSet(tuple(ordered), ()), pole=wishes.pole, conditions=wishes.conditions)
    if before is not None and before.steps:
        with suppress(InputError):  # of another place, or by a clock that was set back: the night begins anew
            result = result.continuing(before, _made(result, before, wishes.rig, told))
    return replace(Finding.of(result, wishes, ordered), before=before, told=told)


def _made(
    result: Measurement, before: Alignment, rig: Rig | None, told: tuple[float, float] | None
) -> tuple[float, float] | None:
    """The turns that the advice asked for, where the axis went about as far as they should carry it."""
    expected = None if told is None else expected_move(before, rig, told)
    if expected is None:
        return None
    now, then = result.alignment.aimed_at(before.pole).error, before.error
    off = (
        now.azimuth_arcmin - then.azimuth_arcmin - expected[0],
        now.altitude_arcmin - then.altitude_arcmin - expected[1],
    )
    return told if sum(part**2 for part in off) < 9.0 + 0.25 * sum(part**2 for part in expected) else None


def follow_latest(
    before: Alignment,
    frames: Sequence[Frame],
    turned: tuple[float, float] | None,
    expected: tuple[float, float] | None,
) -> Followed:
    """Follow the axis with as many of the latest frames as agree, the very last one among them.

    Parameters
    ----------
    before : Alignment
    frames : sequence of Frame
        After the turn, in order of time.
    turned : tuple of float or None
        Turns since then, where they are known. [turn]
    expected : tuple of float or None
        The move that these should have made. [arcmin]

    Raises
    ------
    PolarcheckError
        The last frame shows no possible axis; the error is that of all frames.
    """
    first: PolarcheckError | None = None
    for start in range(len(frames)):
        some = FrameSet(tuple(frames[start:]), ())
        try:
            followed = follow_frames(before, some, turned=turned, expected_arcmin=expected)
        except PolarcheckError as error:
            first = first or error
            continue
        if any(frame is frames[-1] for frame in followed.frames):
            return followed
    if first is not None:
        raise first
    return follow_frames(before, FrameSet(tuple(frames), ()), turned=turned, expected_arcmin=expected)


def rebased(alignment: Alignment, seconds_back: float) -> Alignment:
    """Return the same alignment, its times as a clock has them that was set back meanwhile. [s]"""
    steps = tuple(replace(step, utc=add_seconds(step.utc, -seconds_back)) for step in alignment.steps)
    return replace(alignment, steps=steps)
