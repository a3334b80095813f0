"""From the state of the night to what screen and page draw: the same words and figures for both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from polarcheck.alignment import Alignment, AxisError, side_words
from polarcheck.errors import Notice
from polarcheck.knobs import Move, hand_amount
from polarcheck.night import AdviceEvent, Event, RefusedEvent
from polarcheck.printable import printable
from polarcheck.schema import WarningEntry
from polarcheck.times import iso_from_utc
from polarcheck.watch.evening import Evening
from polarcheck.watch.finding import Finding
from polarcheck.watch.targets import TargetLook
from polarcheck.watch.turning import SAME_PLACE_DEG, Turning
from polarcheck.watch.view import (
    AxisTableNow,
    EveningSchema,
    FrameCounts,
    KnobTurn,
    LastFrame,
    NowTable,
    TargetFrames,
    TrendPoint,
    TurnsTaken,
)

__all__ = ["Moment", "sound_of", "view_of"]

_CAUTION = (
    "Hold the load before you loosen anything, ease the opposite bolt first, never free both; the maker's manual comes "
    "first."
)
_SWEEP = (
    "Clamp declination and take solved frames at three places or more, turned in right ascension only, 30 deg or more "
    "in all."
)


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
        now=_now(evening),
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


def _now(evening: Evening) -> NowTable:
    finding, turning = evening.finding, evening.turning
    if finding is None or turning is None:
        return _sweeping(evening)
    if turning.frames or turning.is_moving:
        return _following(evening, turning)
    advice = finding.correction.next
    knobs = _knobs(finding) if advice.action == "turn" else []
    return NowTable(
        action=advice.action,
        sentence=_sentence(finding, knobs),
        knobs=knobs,
        frames_deg=list(advice.frames_deg),
        why=f"{advice.why[:1].upper()}{advice.why[1:]}.",
        caution=_CAUTION if knobs else "",
    )


def _sweeping(evening: Evening) -> NowTable:
    places = evening.places
    sentence = _SWEEP
    if places:
        sentence = f"{places} of 3 places or more. Turn the mount 20 to 40 deg in right ascension, then take the next."
    return NowTable(
        action="frames", sentence=sentence, knobs=[], frames_deg=[], why=_sentence_of(evening.refusal or "")
    )


def _following(evening: Evening, turning: Turning) -> NowTable:
    """Frames after a turn have come, but not enough."""
    if evening.refusal is not None:
        return NowTable(
            action="frames",
            sentence="Take the frame again.",
            knobs=[],
            frames_deg=[0.0],
            why=_sentence_of(evening.refusal),
        )
    if turning.is_resting:
        sentence = "Looking until the axis rests. Hands off the knobs, or go on turning."
        return NowTable(action="wait", sentence=sentence, knobs=[], frames_deg=[], why="")
    taken = turning.places_deg()
    rest = [
        turn
        for turn in turning.finding.correction.next.frames_deg
        if all(abs(turn - t) > SAME_PLACE_DEG for t in taken)
    ]
    count = f"Frame {len(taken)} of {turning.frames_needed}."
    places = [turn - taken[-1] for turn in rest]
    sentence = f"{count} {_frames_words(places)}" if places else f"{count} Take another."
    return NowTable(action="frames", sentence=sentence, knobs=[], frames_deg=places, why="")


def _sentence(finding: Finding, knobs: list[KnobTurn]) -> str:
    advice = finding.correction.next
    if advice.action == "stop":
        near = advice.reason == "near enough"
        return "Done: near enough. Leave the knobs." if near else "Leave the knobs: a turn would be no gain."
    frames = _frames_words(list(advice.frames_deg))
    if advice.action == "frames":
        return f"Turn no knob yet. {frames}"
    words = ", then ".join(_knob_words(knob) for knob in knobs)
    return f"Turn {words}. {frames}" if words else f"The knobs may not reach: move the tripod. {frames}"


def _knob_words(knob: KnobTurn) -> str:
    if knob.unit == "arcmin":
        return f"{knob.knob} until the axis has gone {knob.amount} arcmin {knob.direction}"
    sense = knob.sense or f"so that the axis goes {knob.direction}"
    unit = "turn" if knob.amount == "1" or knob.amount[:2] in ("1/", "3/", "5/", "7/") else "turns"
    return f"{knob.knob} {knob.amount} {unit} {sense}"


def _frames_words(turns_deg: list[float]) -> str:
    if not turns_deg:
        return "Then take a frame."
    places = ", then ".join(_place(turn) for turn in turns_deg)
    return f"Take {'a frame' if len(turns_deg) == 1 else f'{len(turns_deg)} frames'}: {places}."


def _place(turn: float) -> str:
    if abs(turn) < 0.5:
        return "where the mount stands"
    return f"{abs(turn):.0f} deg {'west' if turn > 0 else 'east'} of here"


def _knobs(finding: Finding) -> list[KnobTurn]:
    return [_knob(move) for move in finding.correction.moves if not move.is_idle]


def _knob(move: Move) -> KnobTurn:
    size = f"{abs(move.move_arcmin):.1f}"
    return KnobTurn(
        knob=move.knob,
        direction=move.direction,
        sense=move.sense,
        turns=move.turns,
        amount=size if move.turns is None else hand_amount(move.turns, move.by_hand_turns),
        unit="arcmin" if move.turns is None else "turn",
        move_arcmin=move.move_arcmin,
        note=_note(move),
    )


def _note(move: Move) -> str:
    if move.ease_first is not None:
        return f"ease the bolt on the {move.ease_first} side first, the other goes in by as much"
    if move.beyond_travel_arcmin:
        return "the knob may not reach: move the tripod"
    if move.take_up_turns > 0.02:
        return f"{hand_amount(move.take_up_turns, move.by_hand_turns)} of it takes up play"
    return ""


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
        reason=_sentence_of(last.reason),
    )


def _target(look: TargetLook) -> TargetFrames:
    return TargetFrames(
        frames=look.frames,
        seen_arcsec_per_min=None if look.seen_arcsec_per_min is None else list(look.seen_arcsec_per_min),
        predicted_arcsec_per_min=(
            None if look.predicted_arcsec_per_min is None else list(look.predicted_arcsec_per_min)
        ),
        elongation=None,
    )


def _sentence_of(text: str) -> str:
    shown = printable(text, 600)
    return f"{shown[:1].upper()}{shown[1:]}"
