"""Knob moves, on a terminal."""

from __future__ import annotations

import math

from polarcheck.alignment import Alignment, side_words
from polarcheck.constants import DEGREE
from polarcheck.followup import SensorMark
from polarcheck.knobs import Correction, Move, Response
from polarcheck.report.text.lines import wrapped
from polarcheck.report.text.mark import mark_text
from polarcheck.report.text.rounding import with_sigma
from polarcheck.report.text.words import pole_words

__all__ = ["correction_text"]

_CAUTION = (
    "Before you loosen anything: hold the load, ease the opposite bolt first, never free both, and keep to the "
    "maker's manual. After the turn re-tighten gently and check with a new frame."
)


def correction_text(correction: Correction, alignment: Alignment, mark: SensorMark | None = None) -> str:
    """Return the whole answer of ``polarcheck correct``; the mark on the sensor only where a turn is worth it."""
    north = alignment.site.is_north
    lines = [_head(alignment), ""]
    for number, move in enumerate(correction.moves, 1):
        lines.append(_move_text(number, move, north))
        lines += [_tripod_text(move, north)] if move.beyond_travel_arcmin else []
    lines += [_loose_text(correction, north)] if alignment.is_loose else []
    lines += [
        "",
        wrapped(("Worth a turn: " if correction.worth_turning else "Leave it: ") + correction.why + "."),
    ]
    if correction.response.turns_seen:
        lines.append(_learned(correction))
    if correction.worth_turning:
        lines += ["", mark_text(mark)] if mark else []
        lines += ["", wrapped(_CAUTION)]
    return "\n".join(lines)


def _head(alignment: Alignment) -> str:
    error, north = alignment.error, alignment.site.is_north
    side, height = side_words(error.azimuth_arcmin, error.altitude_arcmin, north)
    azimuth, plus = with_sigma(abs(error.azimuth_arcmin), error.azimuth_sigma_arcmin)
    altitude, more = with_sigma(abs(error.altitude_arcmin), error.altitude_sigma_arcmin)
    given = alignment.covariance is None
    azimuth, altitude = (
        (f"{azimuth}", f"{altitude}") if given else (f"{azimuth} ± {plus}", f"{altitude} ± {more}")
    )
    return wrapped(
        f"The axis points {azimuth} arcmin too far {side} and {altitude} too {height} of "
        f"{pole_words(alignment.pole_kind)}."
    )


def _move_text(number: int, move: Move, north: bool) -> str:
    size = f"{abs(move.move_arcmin):.1f} arcmin {_where(move, north)}"
    if move.is_idle:
        return wrapped(
            f"{number}. {move.knob}: leave it ({size} is less than half the smallest turn).", "  ", "     "
        )
    if move.turns is None:
        turn = "the rig file does not say how far that is in turns"
    else:
        sense = f" {move.sense}" if move.sense else ", sense not known: watch which way it goes"
        play = f", {_turns(move.take_up_turns)} of it to take up play" if move.take_up_turns else ""
        turn = (
            f"{_turns(move.turns)} of a turn{sense}{play}"
            if move.turns < 1
            else f"{_turns(move.turns)} turns{sense}{play}"
        )
        turn += _bolts(move)
    return wrapped(f"{number}. {move.knob}: {size}: {turn}.", "  ", "     ")


def _bolts(move: Move) -> str:
    """How two opposed bolts share a turn."""
    if not move.is_opposed:
        return ""
    if move.ease_first is None:
        return ". Ease one bolt first, then drive the other in by as much"
    other = {"east": "west", "west": "east", "pole": "equator", "equator": "pole"}[move.ease_first]
    named = "east" if move.knob == "azimuth" else "pole"
    return (
        f" (of the bolt on the {named} side). First ease the bolt on the {move.ease_first} side, counterclockwise, then "
        f"drive the one on the {other} side in, clockwise, by as much"
    )


def _tripod_text(move: Move, north: bool) -> str:
    """How to move the tripod where the knob may not reach."""
    reach = abs(move.move_arcmin) - (move.beyond_travel_arcmin or 0.0)
    angle = abs(move.move_arcmin) / 60
    slope = f"{1000 * math.tan(angle * DEGREE):.0f} mm for each metre"
    if move.knob == "azimuth":
        sense = "clockwise" if (move.direction == "east") == north else "counterclockwise"
        how = (
            f"turn the tripod about the vertical by {angle:.1f} deg {_where(move, north)}, {sense} seen from above: "
            f"a leg goes {slope} that it stands from the middle"
        )
    else:
        leg = "raise" if move.direction == "up" else "lower"
        how = (
            f"set the latitude scale {angle:.1f} deg {'higher' if leg == 'raise' else 'lower'}, or {leg} the leg on the "
            f"pole's side by {slope} from it to the line through the other two"
        )
    return wrapped(
        f"A knob in the middle of its travel reaches {reach:.0f} arcmin. Set it there, hold the load, {how}. "
        "Then measure afresh.",
        "     ",
        "     ",
    )


def _loose_text(correction: Correction, north: bool) -> str:
    shift = correction.clamp_shift_arcmin
    if shift is None:
        said = "The clamps were loose: tightening will shift the axis, nobody knows how far (clamp_shift_arcmin)."
    else:
        side, height = side_words(shift[0], shift[1], north)
        said = (
            f"The clamps were loose: tightening will shift the axis by {abs(shift[0]):.1f} arcmin {side} and "
            f"{abs(shift[1]):.1f} {'up' if height == 'high' else 'down'}, which the moves allow for."
        )
    return wrapped(said)


def _where(move: Move, north: bool) -> str:
    if move.direction in ("up", "down"):
        return move.direction
    hand = "right" if (move.direction == "east") == north else "left"
    return f"{move.direction} ({hand}, facing the pole)"


def _turns(turns: float) -> str:
    """Turns to the nearest fraction that a hand can make: a sixteenth, from a quarter on; else hundredths."""
    if turns < 0.03:
        return f"{turns:.3f}"
    whole, part = divmod(round(turns * 16), 16)
    if turns < 0.2:
        return f"{turns:.2f}"
    if part == 0:
        return f"{whole}"
    divisor = next(f for f in (2, 4, 8, 16) if part * f % 16 == 0)
    fraction = f"{part * divisor // 16}/{divisor}"
    return f"{whole} {fraction}" if whole else fraction


def _learned(correction: Correction) -> str:
    response = correction.response
    gains = [f"{abs(float(response.matrix[i, i])):.1f}" for i in range(2)]
    seen = "one turn" if response.turns_seen == 1 else f"{response.turns_seen} turns"
    return wrapped(
        f"Learned from {seen}: a turn moves azimuth by {gains[0]} and altitude by {gains[1]} arcmin; the turns above "
        "hold that, and what each knob does to the other angle." + _backlash(response)
    )


def _backlash(response: Response) -> str:
    said = ""
    for name, play in zip(("azimuth", "altitude"), response.plays, strict=True):
        if play.reversals:
            value, sigma = with_sigma(play.backlash_turns, play.backlash_sigma_turns)
            seen = "one reversal" if play.reversals == 1 else f"{play.reversals} reversals"
            said += f" Backlash of the {name} knob: {value} ± {sigma} turns, from {seen}."
        elif not play.is_stated and play.last_sense:
            said += (
                f" The rig file states no backlash of the {name} knob, and it was not reversed yet: {play.backlash_turns:.2f} "
                "turns are a guess."
            )
    return said
