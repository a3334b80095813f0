"""An address as a square code that phones read, in text for a terminal."""

from __future__ import annotations

import segno

__all__ = ["qr_lines"]

_QUIET = 4  # light modules around the code, ISO/IEC 18004, section on the quiet zone
_LEAST_QUIET = 2  # what phones still read; fewer fail now and then (common practice, no source)
_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def qr_lines(text: str, *, columns: int, dark: bool = True) -> list[str]:
    """Return the QR code of a text in half-block characters, two rows of modules a line.

    Parameters
    ----------
    text : str
        What the code says, for example an address.
    columns : int
        Width of the terminal. The quiet zone shrinks from four modules to two where that makes the code fit.
    dark : bool
        Whether the terminal writes light on dark; the other way round the code would be inverted, and many phones
        do not read that.

    Returns
    -------
    list of str
        Equally long lines; empty where the code does not fit.
    """
    code = segno.make(text, error="l", micro=False)
    rows = [[bool(module) for module in row] for row in code.matrix]
    quiet = min(_QUIET, (columns - len(rows)) // 2)
    if quiet < _LEAST_QUIET:
        return []
    inked = [[module != dark for module in row] for row in _surrounded(rows, quiet)]
    if len(inked) % 2:
        inked.append([dark] * len(inked[0]))
    pairs = zip(inked[::2], inked[1::2], strict=True)
    return ["".join(_HALVES[halves] for halves in zip(upper, lower, strict=True)) for upper, lower in pairs]


def _surrounded(rows: list[list[bool]], quiet: int) -> list[list[bool]]:
    """Return the modules with light ones around them; True is dark."""
    empty = [False] * (len(rows) + 2 * quiet)
    side = [False] * quiet
    return [empty] * quiet + [side + row + side for row in rows] + [empty] * quiet
