"""What to do now, in words and figures."""

from __future__ import annotations

from collections.abc import Sequence

from polarcheck.knobs import Move, hand_amount
from polarcheck.printable import printable
from polarcheck.watch.evening import Evening
from polarcheck.watch.finding import Finding
from polarcheck.watch.turning import SAME_PLACE_DEG, Turning
from polarcheck.watch.view import KnobTurn, NowTable

__all__ = ["as_sentence", "now_of"]

_CAUTION = (
    "Hold the load before you loosen anything, ease the opposite bolt first, never free both; the maker's manual comes "
    "first."
)
_SWEEP = (
    "Clamp declination and take solved frames at three places or more, turned in right ascension only, 30 deg or more "
    "in all."
)


def now_of(evening: Evening) -> NowTable:
    """Return what to do now."""
    finding, turning = evening.finding, evening.turning
    if finding is None or turning is None:
        return _sweeping(evening)
    if turning.frames or turning.is_moving:
        return _following(evening, turning)
    advice = finding.correction.next
    knobs = _knobs(finding) if advice.action == "turn" else []
    origin = _origin(evening, finding.alignment.last_frame)
    return NowTable(
        action=advice.action,
        sentence=_sentence(finding, knobs, origin),
        knobs=knobs,
        frames_deg=list(advice.frames_deg),
        frames_from=origin,
        places=_places(advice.frames_deg, origin),
        why=f"{advice.why[:1].upper()}{advice.why[1:]}.",
        caution=_CAUTION if knobs else "",
    )


def _sweeping(evening: Evening) -> NowTable:
    places = evening.places
    sentence = _SWEEP
    if places:
        sentence = f"{places} of 3 places or more. Turn the mount 20 to 40 deg in right ascension, then take the next."
    return NowTable(
        action="frames", sentence=sentence, knobs=[], frames_deg=[], why=as_sentence(evening.refusal or "")
    )


def _following(evening: Evening, turning: Turning) -> NowTable:
    """Frames after a turn have come, but not enough."""
    if evening.refusal is None and turning.is_resting:
        return NowTable(action="wait", sentence=_waiting(turning), knobs=[], frames_deg=[], why="")
    why = "" if evening.refusal is None else as_sentence(evening.refusal)
    asked = turning.finding.correction.next.frames_deg
    taken = turning.places_used()
    name, here = taken[-1] if taken else (turning.finding.alignment.last_frame, 0.0)
    places = [turn - here for turn in asked if all(abs(turn - t) > SAME_PLACE_DEG for _, t in taken)]
    origin = _origin(evening, name)
    if why and (len(asked) < 2 or not places):
        return _again("Take the frame again.", [0.0], None, why)
    count = f"Frame {len(taken)} of {turning.frames_needed}." if taken else "That frame was of no use."
    if not places:
        return _again(f"{count} Take another.", [], None, why)
    return _again(f"{count} {_frames_words(places, origin)}", places, origin, why)


def _again(sentence: str, places: list[float], origin: str | None, why: str) -> NowTable:
    return NowTable(
        action="frames",
        sentence=sentence,
        knobs=[],
        frames_deg=places,
        frames_from=origin,
        places=_places(places, origin),
        why=why,
    )


def _origin(evening: Evening, name: str | None) -> str | None:
    """The frame that turns are counted from, where the mount may have been turned on since; else None."""
    stands = [one.name for one in (evening.last, evening.newest) if one is not None]
    return None if name is None or all(one == name for one in stands) else printable(name, 60)


def _waiting(turning: Turning) -> str:
    """What is waited for while the camera takes frame after frame."""
    if turning.is_moving or turning.followed is None:
        return "The axis moves. Finish the turn, then hands off."
    if len(turning.frames) < 2:
        return "Hands off: one more frame must show that the axis rests."
    rest = f"{turning.rested_s:.0f} of {turning.rest_s:.0f} s"
    if turning.is_half_done and turning.turned is not None:
        left = [knob for knob in _knobs(turning.finding) if not turning.turned[knob.knob == "altitude"]]
        words = ", then ".join(_knob_words(knob) for knob in left)
        return f"Now turn {words}. Or leave it: the axis rests for {rest}."
    return f"Hands off, or go on turning: the axis rests for {rest}."


def _sentence(finding: Finding, knobs: list[KnobTurn], origin: str | None) -> str:
    advice = finding.correction.next
    if advice.action == "stop":
        near = advice.reason == "near enough"
        return "Done: near enough. Leave the knobs." if near else "Leave the knobs: a turn would be no gain."
    frames = _frames_words(advice.frames_deg, origin)
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


def _frames_words(turns_deg: Sequence[float], origin: str | None) -> str:
    if not turns_deg:
        return "Then take a frame."
    count = "a frame" if len(turns_deg) == 1 else f"{len(turns_deg)} frames"
    return f"Take {count}: {_places(turns_deg, origin)}."


def _places(turns_deg: Sequence[float], origin: str | None) -> str:
    """Where to take frames: counted from where the mount stands, or from where it stood for a frame."""
    start = "where the mount stands" if origin is None else f"where {origin} was taken"
    words = [start if not round(turn) else f"{abs(turn):.0f} deg {_side(turn)}" for turn in turns_deg]
    turned = [i for i, word in enumerate(words) if word != start]
    if turned:
        there = "here" if origin is None else "that place" if start in words[: turned[-1]] else start
        words[turned[-1]] += f" of {there}"
    return ", then ".join(words)


def _side(turn: float) -> str:
    return "west" if turn > 0 else "east"


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


def as_sentence(text: str) -> str:
    """Return any text printable, with a capital."""
    shown = printable(text, 600)
    return f"{shown[:1].upper()}{shown[1:]}"
