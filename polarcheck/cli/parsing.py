"""Texts of options to values."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import isfinite
from typing import TypeVar

import typer

from polarcheck.cli.ending import hint_of_running
from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["pair", "parsed", "turns"]

Value = TypeVar("Value")


def parsed(option: str, text: str, parse: Callable[[str], Value]) -> Value:
    """Parse an option's text; what cannot be parsed is a wrong command line, exit code 2."""
    try:
        return parse(text)
    except InputError as error:
        said = " ".join([str(error), *filter(None, [hint_of_running(error.parameters)])])
        raise typer.BadParameter(said, param_hint=option) from None


def pair(text: str) -> tuple[float, float]:
    """Parse two numbers, ``AZ,ALT``."""
    parts = text.split(",")
    try:
        first, second = (float(part) for part in parts)
    except ValueError:
        raise InputError(f"{printable(text)!r} is not two numbers with a comma, such as 23.4,-11.8") from None
    if not (isfinite(first) and isfinite(second)):
        raise InputError(f"{printable(text)!r} is not two finite numbers")
    return first, second


def turns(text: str) -> tuple[float, float]:
    """Parse turns of the azimuth and the altitude knob: ``-0.5,0.25``, ``1/2,-3/16``, ``1 1/2,0``."""
    parts = text.split(",")
    try:
        first, second = (_with_fraction(part) for part in parts)
    except (ValueError, ZeroDivisionError):
        raise InputError(
            f"{printable(text)!r} is not two numbers of turns, azimuth then altitude, such as -0.5,0.25 or 1/2,-3/16"
        ) from None
    return first, second


def _with_fraction(text: str) -> float:
    """A whole number and a fraction share the sign in front."""
    body = text.strip()
    sign = -1.0 if body.startswith("-") else 1.0
    pieces = body.lstrip("+-").split()
    if not 1 <= len(pieces) <= 2 or len(body) > 40 or (len(pieces) == 2 and "/" not in pieces[1]):
        raise ValueError
    value = sign * float(sum(Fraction(piece) for piece in pieces))
    if not abs(value) <= 1e4:
        raise ValueError
    return value
