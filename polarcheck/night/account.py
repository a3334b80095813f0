"""What a night amounts to: where the axis stood, what was advised, what was done, what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from polarcheck.alignment import Alignment, AxisError
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

__all__ = ["NightAccount", "NightStep", "account_of", "last_night"]

_ANOTHER_NIGHT_S = 12 * 3600.0  # without an event: another night begins; common practice, no source


@dataclass(frozen=True, slots=True)
class NightStep:
    """One finding of the axis, and what followed on it.

    Attributes
    ----------
    utc : tuple of float
        Mid-exposure of the last used frame, two-part Julian date.
    error : AxisError
        Axis minus pole.
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
    """

    utc: tuple[float, float]
    error: AxisError
    is_fresh: bool
    frames: int
    result: MeasurementSchema | FollowedSchema
    advice: CorrectionSchema | None = None
    turned: tuple[float, float] | None = None
    as_told: bool = False


@dataclass(frozen=True, slots=True)
class NightAccount:
    """One night.

    Attributes
    ----------
    steps : tuple of NightStep
        Findings of the axis, in order.
    alignment : Alignment or None
        How the mount stands by the last one; None before the first, and after the mount was moved.
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


def account_of(events: Sequence[NightEvent], folder: Path) -> NightAccount:
    """Tell the last night of a night's file.

    Parameters
    ----------
    events : sequence of NightEvent
        In order; twelve hours without one begin another night.
    folder : pathlib.Path
        In which the file lies, for the frames that it names.

    Returns
    -------
    NightAccount
    """
    steps: list[NightStep] = []
    last: MeasuredEvent | FollowedEvent | None = None
    mine = last_night(events)
    for event in mine:
        if isinstance(event, MeasuredEvent | FollowedEvent):
            steps.append(_step(event))
            last = event
        elif isinstance(event, AdviceEvent) and steps:
            steps[-1] = replace(steps[-1], advice=event.result)
        elif isinstance(event, TurnedEvent) and steps:
            steps[-1] = _turned(steps[-1], event)
        elif isinstance(event, MovedEvent):
            last = None
    return NightAccount(
        steps=tuple(steps),
        alignment=last.result.alignment(folder) if last else None,
        turned=steps[-1].turned if steps and last else None,
        refused=sum(event.event == "refused" for event in mine),
        checked=sum(event.event == "checked" for event in mine),
    )


def last_night(events: Sequence[NightEvent]) -> Sequence[NightEvent]:
    """Return the events of the last night of a night's file; twelve hours without one begin another."""
    times = [utc_from_iso(event.time_utc) for event in events]
    begins = [
        i + 1
        for i, (before, after) in enumerate(pairwise(times))
        if seconds_between(before, after) > _ANOTHER_NIGHT_S
    ]
    return events[begins[-1] :] if begins else events


def _step(event: MeasuredEvent | FollowedEvent) -> NightStep:
    result = event.result
    error = {name: getattr(result.error, name) for name in AxisError.__dataclass_fields__}
    return NightStep(
        utc=utc_from_iso(result.epoch_utc),
        error=AxisError(**error),
        is_fresh=isinstance(event, MeasuredEvent),
        frames=sum(frame.used for frame in result.frames),
        result=result,
    )


def _turned(step: NightStep, event: TurnedEvent) -> NightStep:
    """Turns add up: a second one after the same finding comes on top of the first."""
    before = step.turned or (0.0, 0.0)
    turned = (before[0] + event.turned[0], before[1] + event.turned[1])
    return replace(step, turned=turned, as_told=event.as_told and (step.turned is None or step.as_told))
