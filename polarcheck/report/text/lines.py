"""Lines that fit the terminal: paragraphs, tables, names in columns.

The one place that asks how wide the terminal is, and the one that wraps and pads.
"""

from __future__ import annotations

import shutil
import textwrap
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from polarcheck.errors import Notice

__all__ = ["Column", "clipped", "line_width", "named_line", "notice_text", "some_of", "table", "wrapped"]

_WIDEST, _NARROWEST = 79, 24
_INDENT, _GAP = 2, 2
_READABLE = 20  # a text column narrower than this goes below its row
_BELOW = " " * 6


def line_width() -> int:
    """Return how many columns a line may take.

    One less than the terminal has, or than the variable COLUMNS says, because some terminals break a line that is
    quite full; at most 79, because longer lines are hard to read; 79, too, where there is no terminal.
    """
    return max(_NARROWEST, min(_WIDEST, shutil.get_terminal_size().columns - 1))


def columns_of(text: str) -> int:
    """Return the columns that a text takes on a terminal: wide characters two, combining ones none."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide - sum(unicodedata.category(c) in ("Mn", "Me") for c in text)


def wrapped(text: str, first: str = "", rest: str | None = None, width: int | None = None) -> str:
    """Fill a paragraph to the terminal's width.

    Parameters
    ----------
    text : str
        One paragraph. A word (the name of a file, say) that is longer than a line stays whole on its own.
    first, rest : str
        What stands before the first line, and before the others; the same unless told.
    width : int, optional
        Columns; the terminal's unless told.

    Returns
    -------
    str
        Lines with line breaks between them, none after the last.
    """
    spaced = "".join(f"{c}\0" if unicodedata.east_asian_width(c) in "WF" else c for c in text)
    return textwrap.fill(
        spaced,
        width or line_width(),
        initial_indent=first,
        subsequent_indent=first if rest is None else rest,
        break_long_words=False,
        break_on_hyphens=False,
    ).replace("\0", "")


def notice_text(notice: Notice) -> str:
    """Return a warning as a wrapped paragraph."""
    return wrapped(f"warning: {notice.text}", "", "  ")


def named_line(name: str, said: str) -> str:
    """Return what is said of a name (of a file that was left out, say), two spaces in front."""
    return wrapped(f"{clipped(name, line_width() - 3)}: {said}", "  ", "    ")


def some_of(lines: Sequence[str], most: int) -> list[str]:
    """Return the first lines, and how many more there are."""
    more = len(lines) - most
    return [*lines[:most], *([more_line(more)] if more > 0 else [])]


def more_line(count: int) -> str:
    """Return the line that says how many are not shown."""
    return wrapped(f"and {count} more (all of them with --json)", "  ")


def clipped(name: str, width: int) -> str:
    """Return a name in at most so many columns: without its middle if it is longer, since its end tells frames apart."""
    if columns_of(name) <= width:
        return name
    head = next(n for n in range(width // 4, -1, -1) if columns_of(name[:n]) <= width // 4)
    start, end = name[:head], name[head:]
    while columns_of(start + "…" + end) > width and end:
        end = end[1:]
    return start + "…" + end


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table.

    Attributes
    ----------
    title : str
        Its head; a line break parts it into two lines, the unit below.
    align : {"<", ">"}
        Numbers stand to the right, with the same decimals, so that their points stand in line.
    narrow : {"keep", "clip", "below", "drop"}
        What becomes of it where the line is too short. Columns to keep go on in a second table below; names are
        clipped; a text, which must be the last column, goes on a line of its own below its row; what others tell
        as well is dropped.
    least : int
        Columns to which names may be clipped.
    """

    title: str
    align: Literal["<", ">"] = ">"
    narrow: Literal["keep", "clip", "below", "drop"] = "keep"
    least: int = 16


Row = Sequence[str] | None


@dataclass(frozen=True, slots=True)
class _Strip:
    """A column with its cells; None where the table has a blank line."""

    column: Column
    cells: list[str | None]

    @property
    def head(self) -> list[str]:
        return self.column.title.split("\n")

    @property
    def width(self) -> int:
        return max(columns_of(text) for text in [*self.head, *(cell or "" for cell in self.cells)])

    def clipped(self, width: int) -> _Strip:
        cells = [None if cell is None else clipped(cell, width) for cell in self.cells]
        return replace(self, cells=cells)

    def padded(self, text: str) -> str:
        space = " " * (self.width - columns_of(text))
        return text + space if self.column.align == "<" else space + text


def table(columns: Sequence[Column], rows: Sequence[Row]) -> str:
    """Return a table that fits the terminal.

    Parameters
    ----------
    columns : sequence of Column
        From left to right; the first one names the rows.
    rows : sequence of (sequence of str or None)
        The cells; missing ones at the end are empty, and None is a blank line.

    Returns
    -------
    str
        Head and rows, two spaces in front of each; several such tables with a blank line between them where one is
        too wide.
    """
    strips = [_Strip(column, [_cell(row, i) for row in rows]) for i, column in enumerate(columns)]
    text = strips.pop() if columns[-1].narrow == "below" else None
    room = line_width() - _INDENT
    while _least_width(strips) > room and (extra := [s for s in strips if s.column.narrow == "drop"]):
        strips.remove(extra[-1])
    panels = _even_panels(_fitted(strips, room), room)
    return "\n\n".join(_set(panel, text if panel is panels[-1] else None) for panel in panels)


def _cell(row: Row, i: int) -> str | None:
    return None if row is None else row[i] if i < len(row) else ""


def _width(strips: Sequence[_Strip]) -> int:
    return sum(strip.width for strip in strips) + _GAP * (len(strips) - 1)


def _least_width(strips: Sequence[_Strip]) -> int:
    """Return the width with names clipped as far as they may be."""
    return _width([s.clipped(s.column.least) if s.column.narrow == "clip" else s for s in strips])


def _fitted(strips: list[_Strip], room: int) -> list[_Strip]:
    """Clip names, as far as they may be, until all fit."""
    for i, strip in enumerate(strips):
        over = _width(strips) - room
        if over > 0 and strip.column.narrow == "clip":
            strips[i] = strip.clipped(max(strip.width - over, strip.column.least))
    return strips


def _even_panels(strips: list[_Strip], room: int) -> list[list[_Strip]]:
    """Part columns into as few tables as fit, none much wider than the others."""
    panels = _panels(strips, room)
    while len(panels) > 1 and room > 0 and len(narrower := _panels(strips, room - 1)) == len(panels):
        panels, room = narrower, room - 1
    return panels


def _panels(strips: list[_Strip], room: int) -> list[list[_Strip]]:
    """Part columns into tables that fit; each begins with the first column."""
    panels = [strips[:1]]
    for strip in strips[1:]:
        if _width([*panels[-1], strip]) > room and len(panels[-1]) > 1:
            panels.append(strips[:1])
        panels[-1] = [*panels[-1], strip]
    return panels


def _set(strips: Sequence[_Strip], text: _Strip | None) -> str:
    """Set one table; its text stands beside the rows where there is room, else below each."""
    hang = _INDENT + _width(strips) + _GAP
    beside = text is not None and line_width() - hang >= min(_READABLE, text.width)
    lines = _head([*strips, text] if text and beside else strips)
    for i, first in enumerate(strips[0].cells):
        if first is None:
            lines.append("")
            continue
        row = _line(strips, [strip.cells[i] or "" for strip in strips])
        said = (text.cells[i] if text else None) or ""
        if beside and said:
            wide = columns_of(row) - len(row)  # columns that its letters take beyond their number
            lines.append(wrapped(said, row + " " * _GAP, " " * hang, line_width() - wide))
        else:
            lines += [row.rstrip(), *([wrapped(said, _BELOW)] if said else [])]
    return "\n".join(lines)


def _head(strips: Sequence[_Strip]) -> list[str]:
    depth = max(len(strip.head) for strip in strips)
    heads = [[""] * (depth - len(strip.head)) + strip.head for strip in strips]
    lines = [_line(strips, [head[k] for head in heads]).rstrip() for k in range(depth)]
    return [line for line in lines if line]


def _line(strips: Sequence[_Strip], cells: Sequence[str]) -> str:
    padded = [strip.padded(cell) for strip, cell in zip(strips, cells, strict=True)]
    return " " * _INDENT + (" " * _GAP).join(padded)
