"""The evening's one screen: what to do now in large figures, and what stands behind it. Pure: a view to lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from polarcheck.report.text.big import big_lines
from polarcheck.report.text.lines import clipped, wrapped
from polarcheck.report.text.rounding import with_sigma

if TYPE_CHECKING:
    from polarcheck.watch import AxisTableNow, EveningSchema, KnobTurn, NowTable

__all__ = ["Line", "Paper", "screen_lines"]

Tone = Literal["large", "head", "text", "faint", "alarm"]

Line = tuple[Tone, str]
"""How a line is to look, and what stands in it."""

_TREND = 6  # findings that are shown


@dataclass(frozen=True, slots=True)
class Paper:
    """What the screen is drawn on.

    Attributes
    ----------
    columns, rows : int
        Of the terminal.
    blocks : bool
        Whether it can show more than ASCII.
    entry : str or None
        What the user types at the moment as other turns.
    has_keys : bool
        Whether keys are heard.
    note : str
        A line about the page; empty for none.
    """

    columns: int
    rows: int
    blocks: bool = True
    entry: str | None = None
    has_keys: bool = True
    note: str = ""

    @property
    def width(self) -> int:
        """Columns that are written to: the last one stays free, for some terminals break a full line."""
        return max(self.columns - 1, 10)

    @property
    def plus_minus(self) -> str:
        """The sign before a sigma."""
        return "±" if self.blocks else "+-"


@dataclass(frozen=True, slots=True)
class _Part:
    """Lines that belong together; those of the largest `late` are left out first where rows lack."""

    late: int
    lines: list[Line]


def screen_lines(view: EveningSchema, paper: Paper) -> list[Line]:
    """Draw the state of the night.

    Parameters
    ----------
    view : EveningSchema
    paper : Paper

    Returns
    -------
    list of Line
        At most as many as there are rows, none longer than the columns less one.
    """
    parts = [
        _Part(3, [("head", clipped(f"{view.time_utc[11:16]} UTC  {view.folder}", paper.width))]),
        _Part(0, _now(view, paper)),
        _Part(1, [*_paragraph("text", view.now.why, paper)] if view.axis is None else []),
        _Part(1, _axis(view, paper)),
        _Part(4, _trend(view, paper)),
        _Part(2, _last(view, paper)),
        _Part(5, _counts(view, paper)),
        _Part(5, _target(view, paper)),
        _Part(4, _warnings(view, paper)),
        _Part(6, _paragraph("faint", view.now.caution, paper)),
        _Part(7, _paragraph("faint", paper.note, paper)),
        _Part(1, _keys(view, paper)),
    ]
    return [
        (tone, _plain(text, paper)) for tone, text in _fitted([part for part in parts if part.lines], paper)
    ]


def _fitted(parts: list[_Part], paper: Paper) -> list[Line]:
    """Leave out what matters least, then put blank lines between parts as far as rows reach."""
    while sum(len(part.lines) for part in parts) > paper.rows and len(parts) > 1:
        parts.remove(max(reversed(parts), key=lambda part: part.late))
    spare = paper.rows - sum(len(part.lines) for part in parts)
    lines: list[Line] = []
    for i, part in enumerate(parts):
        if i and spare > 0:
            lines.append(("text", ""))
            spare -= 1
        lines += part.lines
    return lines[: paper.rows]


def _plain(text: str, paper: Paper) -> str:
    return text if paper.blocks else text.replace("…", "~").encode("ascii", "replace").decode()


def _paragraph(tone: Tone, text: str, paper: Paper, rest: str = "") -> list[Line]:
    if not text:
        return []
    lines = wrapped(text, "", rest, paper.width).split("\n")
    return [(tone, clipped(line, paper.width)) for line in lines]


def _large(text: str, paper: Paper) -> list[Line]:
    return [("large", line) for line in big_lines(text, paper.width, "█" if paper.blocks else "#")]


def _now(view: EveningSchema, paper: Paper) -> list[Line]:
    now = view.now
    if now.action == "turn" and now.knobs:
        lines = [line for i, knob in enumerate(now.knobs) for line in _knob(knob, i, paper)]
        return [*lines, *_paragraph("text", _frames(now), paper)]
    if now.action == "stop":
        return [*_large("STOP", paper), *_paragraph("head", now.sentence, paper)]
    if now.action == "wait" and view.axis is not None:
        return [
            *_large(_figure(view.axis.total_arcmin), paper),
            ("text", "arcmin from the pole now"),
            *_paragraph("head", now.sentence, paper),
        ]
    count = f" {len(now.frames_deg)}" if now.frames_deg else ""
    return [*_large(f"TAKE{count}", paper), *_paragraph("head", now.sentence, paper)]


def _frames(now: NowTable) -> str:
    """Which frames to take after the turn."""
    count = len(now.frames_deg)
    if not now.places or (now.frames_deg == [0.0] and now.frames_from is None):
        return "Then take a frame, the mount as it stands."
    return f"Then take {count} frame{'' if count == 1 else 's'}: {now.places}."


def _figure(value: float) -> str:
    return f"{value:.2f}" if value < 10 else f"{value:.1f}" if value < 100 else f"{value:.0f}"


def _knob(knob: KnobTurn, number: int, paper: Paper) -> list[Line]:
    """What a knob is to do, in words and in large figures: > is clockwise, < is counterclockwise."""
    name = "ALT" if knob.knob == "altitude" else "AZ"
    sense = {"clockwise": " >", "counterclockwise": " <", None: ""}[
        knob.sense if knob.unit == "turn" else None
    ]
    is_part = knob.amount == "1" or knob.amount[:2] in ("1/", "3/", "5/", "7/")
    unit = "arcmin" if knob.unit == "arcmin" else "turn" if is_part else "turns"
    how = f"{knob.sense}, " if knob.sense else ""
    words = (
        f"{'Then' if number else 'First'} {knob.knob}: {knob.amount} {unit} {how}"
        f"{knob.direction} by {abs(knob.move_arcmin):.1f} arcmin"
    )
    words += f"; {knob.note}" if knob.note else ""
    return [*_paragraph("head", words, paper), *_large(f"{name} {knob.amount}{sense}", paper)]


def _axis(view: EveningSchema, paper: Paper) -> list[Line]:
    axis = view.axis
    if axis is None:
        return []
    total, plus = with_sigma(axis.total_arcmin, axis.total_sigma_arcmin)
    sign = paper.plus_minus
    said = (
        f"{total} {sign} {plus} arcmin off: {_side(axis, 'azimuth', sign)}, {_side(axis, 'altitude', sign)}."
    )
    left = "" if view.left_arcmin is None else f" Expected after this: {view.left_arcmin:.2f}."
    goal = "" if view.goal_arcmin is None else f" Near enough: {view.goal_arcmin:.2f}."
    return _paragraph("text", said + left + goal, paper)


def _side(axis: AxisTableNow, knob: Literal["azimuth", "altitude"], sign: str) -> str:
    value = abs(getattr(axis, f"{knob}_arcmin"))
    shown, plus = with_sigma(value, getattr(axis, f"{knob}_sigma_arcmin"))
    side = axis.azimuth_side if knob == "azimuth" else axis.altitude_side
    return f"{shown} {sign} {plus} too {'far ' if knob == 'azimuth' else ''}{side}"


def _trend(view: EveningSchema, paper: Paper) -> list[Line]:
    if len(view.trend) < 2:
        return []
    last = view.trend[-_TREND:]
    more = "… " if len(view.trend) > _TREND else ""
    return _paragraph(
        "text", f"Found so far: {more}{', '.join(_figure(p.total_arcmin) for p in last)}", paper
    )


def _last(view: EveningSchema, paper: Paper) -> list[Line]:
    last = view.last_frame
    if last is None:
        return []
    name = clipped(last.file, max(paper.width // 2, 12))
    verdict = "counts" if last.counted else "does not count"
    return _paragraph("text" if last.counted else "faint", f"{name} {verdict}. {last.reason}"[:400], paper)[
        :3
    ]


def _counts(view: EveningSchema, paper: Paper) -> list[Line]:
    counts = view.counts
    named = {
        "in use": counts.counted,
        "of a target": counts.of_target,
        "of no use": counts.refused,
        "not solved": counts.unsolved,
        "being written": counts.growing,
    }
    said = ", ".join(f"{count} {name}" for name, count in named.items() if count)
    return _paragraph("faint", f"Frames: {said}" if said else "Frames: none yet", paper)


def _target(view: EveningSchema, paper: Paper) -> list[Line]:
    target = view.target
    if target is None:
        return []
    said = f"Target: {target.frames} frames"
    if target.seen_arcsec_per_min and target.predicted_arcsec_per_min:
        seen, told = target.seen_arcsec_per_min, target.predicted_arcsec_per_min
        said += f", drift {seen[0]:+.1f} east {seen[1]:+.1f} north arcsec/min (foretold {told[0]:+.1f}, {told[1]:+.1f})"
    said += f"; star elongation {_long(target.elongation)}"
    return _paragraph("faint", said, paper)


def _long(elongation: float | None) -> str:
    return "not known" if elongation is None else f"{elongation:.2f}"


def _warnings(view: EveningSchema, paper: Paper) -> list[Line]:
    if not view.warnings:
        return []
    more = f" (and {len(view.warnings) - 1} more)" if len(view.warnings) > 1 else ""
    return _paragraph("alarm", f"Warning: {view.warnings[-1].text[:300]}{more}", paper)[:4]


def _keys(view: EveningSchema, paper: Paper) -> list[Line]:
    if paper.entry is not None:
        return [("head", clipped(f"Turns made, azimuth,altitude: {paper.entry}_", paper.width))]
    if not paper.has_keys or view.taken is None:
        return []
    how = "as told" if view.taken.as_told else f"{view.taken.azimuth:+.2f}, {view.taken.altitude:+.2f}"
    return _paragraph("faint", f"Turns count as made, {how}. Else: m made, h half, n none, o other", paper)
