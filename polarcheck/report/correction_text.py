"""Knob moves and the axis after them, on a terminal and as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from polarcheck.alignment import Alignment, side_words
from polarcheck.correction import Correction
from polarcheck.follow import Followed
from polarcheck.last_frame import SensorMark
from polarcheck.moves import Move
from polarcheck.report.json_text import (
    alignment_keys,
    error_object,
    frame_object,
    notice_object,
    pole_object,
    site_object,
)
from polarcheck.report.mark_text import mark_object, mark_text
from polarcheck.report.rounding import with_sigma
from polarcheck.report.text import error_table, pole_words, wrapped
from polarcheck.times import iso_from_utc

__all__ = ["correction_object", "correction_text", "followed_object", "followed_text"]

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


def correction_object(correction: Correction, mark: SensorMark | None = None) -> dict[str, Any]:
    """Return the object of schema ``polarcheck.correct/1``."""
    return {
        "schema": "polarcheck.correct/1",
        "moves": [
            {
                "knob": move.knob,
                "move_arcmin": move.move_arcmin,
                "sigma_arcmin": move.sigma_arcmin,
                "direction": move.direction,
                "turns": move.turns,
                "sense": move.sense,
                "take_up_turns": move.take_up_turns,
                "is_idle": move.is_idle,
            }
            for move in correction.moves
        ],
        "worth_turning": correction.worth_turning,
        "why": correction.why,
        **mark_object(mark or SensorMark(None, "nobody asked for it")),
        "response": {
            "arcmin_per_turn": correction.response.matrix.tolist(),
            "covariance": correction.response.covariance.tolist(),
            "known": list(correction.response.known),
            "corrections_learned_from": correction.response.turns_seen,
        },
    }


def followed_text(followed: Followed) -> str:
    """Return the whole answer of ``polarcheck follow``."""
    alignment, count = followed.alignment, len(followed.frames)
    frames = "1 frame" if count == 1 else f"{count} frames"
    moved = (
        f"It moved by {followed.moved_azimuth_arcmin:+.2f} arcmin in azimuth and "
        f"{followed.moved_altitude_arcmin:+.2f} in altitude since the result before."
    )
    head = wrapped(f"Polar axis now, from {frames}, as of {iso_from_utc(alignment.steps[-1].utc)[:19]} UTC.")
    left = [wrapped(f"{p.name}: {p.reason}", "  ", "    ") for p in followed.problems if not p.is_sidecar]
    tail = ["", f"Left out: {len(left)}", *left] if left else []
    return "\n".join(
        [
            head,
            "",
            error_table(followed.error, alignment.pole_kind, alignment.site.is_north),
            "",
            wrapped(moved),
            *tail,
        ]
    )


def followed_object(followed: Followed, kept_in: Path | None = None) -> dict[str, Any]:
    """Return the object of schema ``polarcheck.follow/1``; see `alignment_keys` for `kept_in`."""
    alignment = followed.alignment
    step = alignment.steps[-1]
    return {
        "schema": "polarcheck.follow/1",
        **site_object(alignment.site, alignment.atmosphere),
        "epoch_utc": iso_from_utc(step.utc),
        "pole": pole_object(alignment.pole),
        "axis": {
            "azimuth_deg": step.azimuth_deg,
            "altitude_deg": step.altitude_deg,
            "covariance_arcmin2": alignment_keys(alignment)["history"][-1]["covariance_arcmin2"],
        },
        "error": error_object(followed.error),
        "moved": {
            "azimuth_arcmin": followed.moved_azimuth_arcmin,
            "altitude_arcmin": followed.moved_altitude_arcmin,
        },
        "slip_arcmin": followed.slip_arcmin,
        "frames": [
            *(frame_object(f.name, None, iso_from_utc(f.utc)) for f in followed.frames),
            *(
                frame_object(p.name, p.reason, iso_from_utc(p.utc) if p.utc else None)
                for p in followed.problems
            ),
        ],
        "warnings": [notice_object(notice) for notice in followed.notices],
        **alignment_keys(alignment, kept_in),
    }


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
    return wrapped(f"{number}. {move.knob}: {size}: {turn}.", "  ", "     ")


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
        "hold that, and what each knob does to the other angle."
    )
