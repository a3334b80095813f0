"""From the state of the night to what screen and page draw: the same words and figures for both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from polarcheck.alignment import Alignment, AxisError, side_words
from polarcheck.errors import Notice
from polarcheck.night import AdviceEvent, Event, RefusedEvent
from polarcheck.printable import printable
from polarcheck.schema import WarningEntry
from polarcheck.times import iso_from_utc
from polarcheck.watch.evening import Evening
from polarcheck.watch.saying import as_sentence, now_of
from polarcheck.watch.targets import TargetLook
from polarcheck.watch.view import (
    AxisTableNow,
    EveningSchema,
    FrameCounts,
    LastFrame,
    TargetFrames,
    TrendPoint,
    TurnsTaken,
)

__all__ = ["Moment", "sound_of", "view_of"]

Sound = Literal["nearer", "refused", "done"]


@dataclass(frozen=True, slots=True)
class Moment:
    """What a view holds beside the state of the night.

    Attributes
    ----------
    number : int
        Grows with every change.
    time_utc : str
        Of the change, by this computer's clock.
    folder : str
        Any text.
    growing, unsolved : int
        Files being written, and whole ones without a solution.
    sound : {"nearer", "refused", "done"} or None
        What the change sounds like.
    notices : tuple of Notice
        Warnings beside those of the finding.
    """

    number: int
    time_utc: str
    folder: str
    growing: int = 0
    unsolved: int = 0
    sound: Sound | None = None
    notices: tuple[Notice, ...] = ()


def sound_of(events: Sequence[Event]) -> Sound | None:
    """Return what events sound like: done before nearer, and that before refused."""
    for event in reversed(events):
        if isinstance(event, AdviceEvent):
            return "done" if event.result.next.action == "stop" else "nearer"
    return "refused" if any(isinstance(event, RefusedEvent) for event in events) else None


def view_of(evening: Evening, moment: Moment) -> EveningSchema:
    """Return what screen and page draw.

    Parameters
    ----------
    evening : Evening
    moment : Moment

    Returns
    -------
    EveningSchema
        All texts in it are printable.
    """
    finding, followed = evening.finding, evening.followed
    alignment = followed.alignment if followed else finding.alignment if finding else None
    advice = finding.correction.next if finding and not followed else None
    notices = (*(finding.notices if finding else ()), *evening.notices, *moment.notices)
    return EveningSchema(
        number=moment.number,
        time_utc=moment.time_utc,
        folder=printable(moment.folder, 2000),
        now=now_of(evening),
        axis=_axis(alignment) if alignment else None,
        left_arcmin=advice.expected_left_arcmin if advice else None,
        goal_arcmin=finding.correction.goal.arcmin if finding else None,
        trend=[_point(*one) for one in evening.trend],
        last_frame=_last(evening),
        counts=FrameCounts(
            counted=evening.counted,
            of_target=evening.of_target,
            refused=evening.refused,
            unsolved=moment.unsolved,
            growing=moment.growing,
        ),
        target=_target(evening.target) if evening.target else None,
        taken=_taken(evening),
        sound=moment.sound,
        warnings=[WarningEntry.like(notice) for notice in notices],
    )


def _taken(evening: Evening) -> TurnsTaken | None:
    turning = evening.turning
    if turning is None or turning.taken is None:
        return None
    return TurnsTaken(azimuth=turning.taken[0], altitude=turning.taken[1], as_told=turning.as_told)


def _axis(alignment: Alignment) -> AxisTableNow:
    error = alignment.error
    sag_azimuth, sag_altitude = 0.0, 0.0
    if alignment.systematic is not None:
        sag_azimuth, sag_altitude = alignment.systematic.half_widths_arcmin(alignment.axis)
    side, height = side_words(error.azimuth_arcmin, error.altitude_arcmin, alignment.site.is_north)
    return AxisTableNow(
        azimuth_arcmin=error.azimuth_arcmin,
        altitude_arcmin=error.altitude_arcmin,
        total_arcmin=error.total_arcmin,
        azimuth_sigma_arcmin=error.azimuth_sigma_arcmin,
        altitude_sigma_arcmin=error.altitude_sigma_arcmin,
        total_sigma_arcmin=error.total_sigma_arcmin,
        azimuth_allowance_arcmin=sag_azimuth,
        altitude_allowance_arcmin=sag_altitude,
        azimuth_side=side,  # type: ignore[arg-type]
        altitude_side=height,  # type: ignore[arg-type]
        time_utc="" if alignment.utc is None else iso_from_utc(alignment.utc),
    )


def _point(utc: tuple[float, float], error: AxisError, is_fresh: bool) -> TrendPoint:
    return TrendPoint(
        time_utc=iso_from_utc(utc),
        azimuth_arcmin=error.azimuth_arcmin,
        altitude_arcmin=error.altitude_arcmin,
        total_arcmin=error.total_arcmin,
        sigma_arcmin=error.total_sigma_arcmin,
        fresh=is_fresh,
    )


def _last(evening: Evening) -> LastFrame | None:
    last = evening.last
    if last is None:
        return None
    return LastFrame(
        file=last.name,
        time_utc=None if last.utc is None else iso_from_utc(last.utc),
        counted=last.counted,
        part=last.part,
        reason=as_sentence(last.reason),
    )


def _target(look: TargetLook) -> TargetFrames:
    return TargetFrames(
        frames=look.frames,
        seen_arcsec_per_min=None if look.seen_arcsec_per_min is None else list(look.seen_arcsec_per_min),
        predicted_arcsec_per_min=(
            None if look.predicted_arcsec_per_min is None else list(look.predicted_arcsec_per_min)
        ),
        elongation=look.elongation,
    )
