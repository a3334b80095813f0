"""Texts of options to values."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from typing import TypeVar

import typer

from polarcheck.cli.ending import hint_of_running
from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["pair", "parsed"]

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
