"""Figures and letters five lines high, which read from two metres."""

from __future__ import annotations

__all__ = ["HEIGHT", "big_lines", "big_width"]

HEIGHT = 5
"""Lines that they take."""

_ROWS = {
    "0": "### #.# #.# #.# ###",
    "1": ".#. ##. .#. .#. ###",
    "2": "### ..# ### #.. ###",
    "3": "### ..# .## ..# ###",
    "4": "#.# #.# ### ..# ..#",
    "5": "### #.. ### ..# ###",
    "6": "### #.. ### #.# ###",
    "7": "### ..# ..# .#. .#.",
    "8": "### #.# ### #.# ###",
    "9": "### #.# ### ..# ###",
    "A": ".#. #.# ### #.# #.#",
    "E": "### #.. ##. #.. ###",
    "I": "### .#. .#. .#. ###",
    "K": "#.# #.# ##. #.# #.#",
    "L": "#.. #.. #.. #.. ###",
    "O": "### #.# #.# #.# ###",
    "P": "### #.# ### #.. #..",
    "S": ".## #.. .#. ..# ##.",
    "T": "### .#. .#. .#. .#.",
    "W": "#.# #.# #.# ### #.#",
    "Z": "### ..# .#. #.. ###",
    "/": "..# ..# .#. #.. #..",
    ".": ". . . . #",
    " ": ". . . . .",
    ">": "#.. .#. ..# .#. #..",
    "<": "..# .#. #.. .#. ..#",
}
"""Each sign as its rows; # is lit. A sign's columns are drawn double where there is room, for cells are narrow."""


def big_width(text: str, stroke: int) -> int:
    """Return the columns that a text takes, drawn with strokes so many columns wide."""
    return sum(len(_ROWS[sign].split()[0]) * stroke + 1 for sign in text) - 1


def big_lines(text: str, room: int, ink: str = "█") -> list[str]:
    """Draw a text of figures and some capitals.

    Parameters
    ----------
    text : str
        Of the signs that there are.
    room : int
        Columns; strokes are two wide where that fits, else one.
    ink : str
        What lit cells are made of.

    Returns
    -------
    list of str
        `HEIGHT` lines without spaces at their ends.
    """
    stroke = 2 if big_width(text, 2) <= room else 1
    drawn = []
    for row in range(HEIGHT):
        cells = [_ROWS[sign].split()[row] for sign in text]
        line = " ".join("".join((ink if dot == "#" else " ") * stroke for dot in cell) for cell in cells)
        drawn.append(line.rstrip())
    return drawn
