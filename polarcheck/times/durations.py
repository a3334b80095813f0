"""Lengths of time as text."""

from __future__ import annotations

import re

from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["parse_duration"]

_UNIT_S = {"s": 1.0, "sec": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0, "hr": 3600.0, "d": 86400.0}
_PIECE = re.compile(r"(\d+(?:\.\d*)?|\.\d+)\s*(sec|s|min|m|hr|h|d)\s*", re.ASCII)


def parse_duration(text: str) -> float:
    """Read a length of time such as ``90s``, ``10min``, ``1.5h``, ``-2h``, ``1d`` or ``1h30min``.

    Parameters
    ----------
    text : str
        Number and unit: s, min, h or d.

    Returns
    -------
    float
        The duration, negative with a leading minus. [s]

    Raises
    ------
    InputError
        Anything else; a number without unit too.
    """
    bare = text.strip().lower().replace("−", "-")
    sign = -1.0 if bare.startswith("-") else 1.0
    bare = bare.removeprefix("-").removeprefix("+").lstrip()
    pieces = _PIECE.findall(bare)
    if not pieces or _PIECE.sub("", bare):
        raise InputError(f"'{printable(text, 40)}' is no duration; write for example 90s, 10min, 1.5h or 1d")
    return sign * sum(float(number) * _UNIT_S[unit] for number, unit in pieces)
