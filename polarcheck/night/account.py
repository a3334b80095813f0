"""What a night amounts to: where the axis stood, what was advised, what was done, what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from polarcheck.alignment import Alignment, AxisError
from polarcheck.errors import InputError
from polarcheck.followup import CorrectionSchema, FollowedSchema
from polarcheck.measurement import MeasurementSchema
from polarcheck.night.events import (
    AdviceEvent,
    FollowedEvent,
    MeasuredEvent,
    MovedEvent,
    NightEvent,
    TurnedEvent,
)
from polarcheck.times import seconds_between, utc_from_iso

__all__ = ["ANOTHER_NIGHT_S", "NightAccount", "NightStep", "account_of", "last_night", "nights_of"]

ANOTHER_NIGHT_S = 12 * 3600.0
"""After which another night begins; common practice, no source. [s]"""

_SAME_S, _SAME_DEG = 0.02, 1e-6  # times are kept to 0.01 s

Finding = MeasuredEvent | FollowedEvent


@dataclass(frozen=True, slots=True)
class NightStep:
    """One finding of the axis, and what followed on it.

    Attributes
    ----------
    utc : tuple of float
        Mid-exposure of the last used frame, two-part Julian date.
    error : AxisError
        Axis minus pole.
    axis_deg : tuple of float
        Where the axis points: azimuth from north through east, altitude. [deg]
    is_fresh : bool
        Whether it was measured anew, not followed.
    frames : int
        Frames in use.
    result : MeasurementSchema or FollowedSchema
        All that was found.
    advice : CorrectionSchema or None
        The last advice given on it.
    turned : tuple of float or None
        Turns of the azimuth and the altitude knob after it, net, clockwise positive; None where nobody said. [turn]
    as_told : bool
        Whether these were taken as advised.
    then_moved : bool
        Whether the mount was moved otherwise than by its knobs after it.
    """

    utc: tuple[float, float]
    error: AxisError
    axis_deg: tuple[float, float]
    is_fresh: bool
    frames: int
    result: MeasurementSchema | FollowedSchema
    advice: CorrectionSchema | None = None
    turned: tuple[float, float] | None = None
    as_told: bool = False
    then_moved: bool = False

    def is_of(self, alignment: Alignment) -> bool:
        """Return whether it found that alignment: at the same moment the same axis, but for rounding."""
        if not alignment.steps:
            return False
        last = alignment.steps[-1]
        apart = max(abs(last.azimuth_deg - self.axis_deg[0]), abs(last.altitude_deg - self.axis_deg[1]))
        return abs(seconds_between(self.utc, last.utc)) < _SAME_S and apart < _SAME_DEG

    @property
    def advised(self) -> tuple[float, float] | None:
        """What the advice told to turn, clockwise positive; None without advice, or where it names no turns. [turn]"""
        if self.advice is None:
            return None
        if not self.advice.worth_turning:
            return 0.0, 0.0
        told = {move.knob: _signed(move.turns, move.sense) for move in self.advice.moves}
        azimuth, altitude = told.get("azimuth"), told.get("altitude")
        return None if azimuth is None or altitude is None else (azimuth, altitude)


@dataclass(frozen=True, slots=True)
class NightAccount:
    """One night.

    Attributes
    ----------
    steps : tuple of NightStep
        Findings of the axis, in order.
    alignment : Alignment or None
        How the mount stands by the last one, with the night's history of turns; None before the first, and after
        the mount was moved.
    turned : tuple of float or None
        Turns made since that last finding; None where none were told. [turn]
    refused, checked : int
        Refusals, and looks at frames of the target.
    """

    steps: tuple[NightStep, ...]
    alignment: Alignment | None
    turned: tuple[float, float] | None
    refused: int
    checked: int

    @property
    def taken(self) -> tuple[float, float] | None:
        """Turns since the last finding: those told, else those advised; None where neither is known. [turn]"""
        if self.turned is not None or not self.steps:
            return self.turned
        return self.steps[-1].advised

    def knows(self, alignment: Alignment) -> bool:
        """Return whether an alignment is one of the findings."""
        return any(step.is_of(alignment) for step in self.steps)

    def stands_at(self, alignment: Alignment) -> bool:
        """Return whether an alignment is the last finding, and the mount was not moved since."""
        return self.alignment is not None and self.steps[-1].is_of(alignment)


def nights_of(events: Sequence[NightEvent]) -> tuple[tuple[NightEvent, ...], ...]:
    """Part the events of a file into nights, in the order in which they were written.

    Parameters
    ----------
    events : sequence of NightEvent
        In order. What counts is when frames were taken: twelve hours between those of two findings begin another
        night. All other events belong to the finding before them.

    Returns
    -------
    tuple of tuple of NightEvent
        Empty without events.
    """
    nights: list[list[NightEvent]] = []
    last: tuple[float, float] | None = None
    for event in events:
        if isinstance(event, Finding):
            utc = utc_from_iso(event.result.epoch_utc)
            if last is not None and abs(seconds_between(last, utc)) > ANOTHER_NIGHT_S:
                nights.append([])
            last = utc
        if not nights:
            nights.append([])
        nights[-1].append(event)
    return tuple(tuple(night) for night in nights)


def last_night(events: Sequence[NightEvent]) -> tuple[NightEvent, ...]:
    """Return the events of the last night of a night's file; see `nights_of`."""
    nights = nights_of(events)
    return nights[-1] if nights else ()


def account_of(events: Sequence[NightEvent], folder: Path) -> NightAccount:
    """Tell the last night of a night's file.

    A sweep that shares frames with an earlier finding is that one again, grown or measured otherwise: it takes its
    place where that is the last one, and does nothing else, so that looking back does not undo a turn.

    Parameters
    ----------
    events : sequence of NightEvent
        In order; see `nights_of`.
    folder : pathlib.Path
        In which the file lies, for the frames that it names.

    Returns
    -------
    NightAccount
    """
    mine = last_night(events)
    told = _Told()
    for event in mine:
        told.take(event)
    return NightAccount(
        steps=tuple(told.steps),
        alignment=told.alignment(folder),
        turned=told.steps[-1].turned if told.steps and told.findings else None,
        refused=sum(event.event == "refused" for event in mine),
        checked=sum(event.event == "checked" for event in mine),
    )


@dataclass(slots=True)
class _Told:
    """A night as far as it is told."""

    steps: list[NightStep] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)  # since the mount was last moved

    def take(self, event: NightEvent) -> None:
        if isinstance(event, Finding):
            self._found(event)
        elif not self.findings:
            return
        elif isinstance(event, AdviceEvent):
            self.steps[-1] = replace(self.steps[-1], advice=event.result)
        elif isinstance(event, TurnedEvent):
            self.steps[-1] = _turned(self.steps[-1], event)
        elif isinstance(event, MovedEvent):
            self.steps[-1] = replace(self.steps[-1], then_moved=True)
            self.findings.clear()

    def _found(self, event: Finding) -> None:
        mine = _used(event) if isinstance(event, MeasuredEvent) else set()
        shared = [bool(mine & _used(finding)) for finding in self.findings]
        if not any(shared):
            self.steps.append(_step(event))
            self.findings.append(event)
        elif shared[-1]:
            old = self.steps[-1]
            new = _step(event)
            self.steps[-1] = replace(new, advice=old.advice, turned=old.turned, as_told=old.as_told)
            self.findings[-1] = event

    def alignment(self, folder: Path) -> Alignment | None:
        """How the mount stands: measured anew, it goes on with the history of the finding before."""
        found: Alignment | None = None
        steps = self.steps[len(self.steps) - len(self.findings) :]
        for i, event in enumerate(self.findings):
            before, found = found, event.result.alignment(folder)
            if before is not None and isinstance(event, MeasuredEvent) and len(found.steps) == 1:
                found = _continuing(found, before, steps[i - 1].turned)
        return found


def _continuing(found: Alignment, before: Alignment, turned: tuple[float, float] | None) -> Alignment:
    try:
        return found.continuing(before, turned)
    except InputError:  # of another place, or by a clock that was set back: it stands alone
        return found


def _step(event: Finding) -> NightStep:
    result = event.result
    error = {name: getattr(result.error, name) for name in AxisError.__dataclass_fields__}
    return NightStep(
        utc=utc_from_iso(result.epoch_utc),
        error=AxisError(**error),
        axis_deg=(result.axis.azimuth_deg, result.axis.altitude_deg),
        is_fresh=isinstance(event, MeasuredEvent),
        frames=sum(frame.used for frame in result.frames),
        result=result,
    )


def _used(event: Finding) -> set[tuple[str, str]]:
    """Names and moments of the frames in use; names are seen from the offered folder, so only their end counts."""
    return {
        (frame.file.rpartition("/")[2], frame.mid_exposure_utc or "")
        for frame in event.result.frames
        if frame.used
    }


def _turned(step: NightStep, event: TurnedEvent) -> NightStep:
    """Turns add up: a second one after the same finding comes on top of the first."""
    before = step.turned or (0.0, 0.0)
    turned = (before[0] + event.turned[0], before[1] + event.turned[1])
    return replace(step, turned=turned, as_told=event.as_told and (step.turned is None or step.as_told))


def _signed(turns: float | None, sense: str | None) -> float | None:
    if turns is None or (turns and sense is None):
        return None
    return -turns if sense == "counterclockwise" else turns
