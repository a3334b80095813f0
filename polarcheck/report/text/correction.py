"""Knob moves, on a terminal."""

from __future__ import annotations

from polarcheck.alignment import Alignment, side_words
from polarcheck.followup import SensorMark
from polarcheck.knobs import Correction, Move, Next, Response, hand_amount, near_enough
from polarcheck.printable import printable
from polarcheck.report.text.lines import wrapped
from polarcheck.report.text.mark import mark_text
from polarcheck.report.text.rounding import with_sigma
from polarcheck.report.text.words import pole_words, rig_words
from polarcheck.rig import Rig

__all__ = [
    "TURN_CAUTION",
    "correction_text",
    "frames_lines",
    "loose_text",
    "move_text",
    "sentence",
    "tripod_text",
    "unknown_lines",
    "verdict_text",
]

TURN_CAUTION = (
    "Before you loosen anything: hold the load, ease the opposite bolt first, never free both, and keep to the "
    "maker's manual. After the turn re-tighten gently and check with a new frame."
)
"""What to mind where knobs are turned."""


def correction_text(
    correction: Correction,
    alignment: Alignment,
    mark: SensorMark | None = None,
    command: str | None = None,
    rig: Rig | None = None,
) -> str:
    """Return the whole answer of ``polarcheck correct``: what to do next, then how.

    Parameters
    ----------
    correction : Correction
    alignment : Alignment
        What it corrects.
    mark : SensorMark, optional
        Shown only where a turn is next.
    command : str, optional
        The next command, ready to paste.
    rig : Rig, optional
        The rig file that says how the knobs act; it is named.
    """
    advice, north = correction.next, alignment.site.is_north
    lines = [wrapped(f"{verdict_text(correction)} {sentence(advice.why)}"), "", _head(alignment)]
    lines += [wrapped(f"Knobs as in the {rig_words(rig)}.")] if rig else []
    if advice.action == "turn":
        lines.append("")
        for number, move in enumerate(correction.moves, 1):
            lines.append(move_text(number, move, north))
            lines += [tripod_text(move, north)] if move.beyond_travel_arcmin else []
        lines += unknown_lines(correction, rig)
    lines += [loose_text(correction, north)] if alignment.is_loose else []
    lines += ["", *frames_lines(advice)] if advice.frames_deg else []
    if correction.response.turns_seen:
        lines += ["", _learned(correction)]
    if advice.action == "turn":
        lines += ["", mark_text(mark)] if mark else []
        lines += ["", wrapped(TURN_CAUTION)]
    lines += ["", command] if command and advice.action != "stop" else []
    return "\n".join(lines)


def verdict_text(correction: Correction) -> str:
    """Return what to do next, in one sentence."""
    advice = correction.next
    count = len(advice.frames_deg)
    frames = "one frame" if count == 1 else f"{count} frames"
    if advice.action == "stop":
        return "Leave it."
    if advice.action == "frames":
        return f"Turn no knob yet; take {frames} first."
    turned = [move.knob for move in correction.moves if not move.is_idle]
    knobs = "both knobs" if len(turned) == 2 else f"the {turned[0]} knob alone" if turned else "the tripod"
    return f"Turn {knobs}, then take {frames if count else 'a sweep'}."


def sentence(text: str) -> str:
    """Return a text as a sentence."""
    return f"{text[:1].upper()}{text[1:]}."


def frames_lines(advice: Next) -> list[str]:
    """Where to take the frames, as turns of the mount by hand or by its own motors."""
    places = [_place(turn) for turn in advice.frames_deg]
    sigma = (
        ""
        if advice.expected_sigma_arcmin is None
        else f" They should show the axis to {advice.expected_sigma_arcmin:.2f} arcmin."
    )
    stays = advice.frames_deg == (0.0,)
    how = "" if stays else " Turn the mount in right ascension only; declination and camera stay clamped."
    return [wrapped(f"Frames to take: {', then '.join(places)}.{how}{sigma}")]


def _place(turn: float) -> str:
    if turn == 0:
        return "one where the mount stands now"
    return f"one {abs(turn):.0f} deg ({abs(turn) / 15:.1f} h) {'west' if turn > 0 else 'east'} of there"


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


def move_text(number: int, move: Move, north: bool) -> str:
    """Return what one knob is to do, as a numbered line."""
    size = f"{abs(move.move_arcmin):.1f} arcmin {_where(move, north)}"
    if move.is_idle:
        why = {
            "noise": f"is not clearly more than its sigma of {move.sigma_arcmin:.1f}",
            "hand": "is less than a turn by hand would miss by",
        }[move.why_idle or "hand"]
        return wrapped(f"{number}. {move.knob}: leave it ({size} {why}).", "  ", "     ")
    if move.turns is None:
        turn = "how far that is in turns is not known"
    else:
        sense = f" {move.sense}" if move.sense else ", sense not known: watch which way it goes"
        shown = hand_amount(move.turns, move.by_hand_turns)
        play = ""
        if move.take_up_turns > max(near_enough(move.by_hand_turns), 0.005):  # what shows in hundredths
            play = f", {hand_amount(move.take_up_turns, move.by_hand_turns)} of it to take up play"
        unit = "turn" if shown == "1" else "of a turn" if move.turns < 1 else "turns"
        turn = f"{shown} {unit}{sense}{play}"
        turn += _bolts(move)
    return wrapped(f"{number}. {move.knob}: {size}: {turn}.", "  ", "     ")


def unknown_lines(correction: Correction, rig: Rig | None) -> list[str]:
    """Why turns are not known, and what to do; nothing where they are."""
    if all(move.turns is not None for move in correction.moves if not move.is_idle):
        return []
    if rig is None:
        why = "There is no rig file to say how far a turn moves the axis: polarcheck rig new writes one to fill in."
    else:
        why = f"{printable(rig.path.name)} does not say how far a turn of each knob moves the axis (arcmin_per_turn)."
    return [wrapped(f"{why} polarcheck follow learns it from turns that it is told.")]


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


def tripod_text(move: Move, north: bool) -> str:
    """Return how to move the tripod where the knob may not reach."""
    angle = abs(move.move_arcmin) / 60
    slope = f"{move.shift_mm_per_m:.0f} mm for each metre"
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
        f"A knob in the middle of its travel reaches {move.reach_arcmin:.0f} arcmin. Set it there, hold the load, {how}. "
        "Then measure afresh.",
        "     ",
        "     ",
    )


def loose_text(correction: Correction, north: bool) -> str:
    """Return what tightening will do to an axis that was seen with loose clamps."""
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
