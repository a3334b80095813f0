"""What the page sends back: one answer of the user's, read with distrust."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from polarcheck.watch import Answer

__all__ = ["LONGEST_BODY", "Posted", "read_posted"]

LONGEST_BODY = 1000
"""Bytes; an answer takes 80."""


@dataclass(frozen=True, slots=True)
class Posted:
    """An answer and what it answers.

    Attributes
    ----------
    answer : Answer
        What was pressed.
    number : int
        Of the view that the user saw when pressing.
    """

    answer: Answer
    number: int


def read_posted(body: bytes) -> Posted:
    """Read ``{"kind": "other", "turns": [0.5, -1.0], "number": 17}``; turns go with "other" alone.

    Parameters
    ----------
    body : bytes
        JSON.

    Returns
    -------
    Posted

    Raises
    ------
    ValueError
        It is no such object.
    """
    try:
        content = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise ValueError("an answer is JSON") from error
    if not isinstance(content, dict) or not set(content) <= {"kind", "turns", "number"}:
        raise ValueError("an answer has kind, turns and number")
    number = content.get("number")
    if number is None or not _is_number(number) or number != int(number):
        raise ValueError("number is the view's")
    return Posted(Answer(content.get("kind"), _turns(content.get("turns"))), int(number))  # type: ignore[arg-type]


def _turns(given: object) -> tuple[float, float] | None:
    if given is None:
        return None
    if not isinstance(given, list) or len(given) != 2 or not all(map(_is_number, given)):
        raise ValueError("turns are two numbers")
    return float(given[0]), float(given[1])


def _is_number(value: Any) -> bool:
    """Whether it is one of JSON's numbers, neither endless nor beyond what a float holds."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e15
