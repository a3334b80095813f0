"""What the user says of the turns that were asked for, where they were not made as told."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Literal

__all__ = ["Answer"]

_MOST_TURNS = 100.0  # far beyond the travel of any knob: a slip of the finger


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer, by a key or on the page.

    Attributes
    ----------
    kind : "made", "half", "none" or "other"
        All as told, half of each, none, or the turns given.
    turns : tuple of float or None
        For "other": net turns of the azimuth and the altitude knob, clockwise positive. [turn]

    Raises
    ------
    ValueError
        Turns are missing, too many, or no numbers.
    """

    kind: Literal["made", "half", "none", "other"]
    turns: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if self.kind not in ("made", "half", "none", "other"):
            raise ValueError("an answer is made, half, none or other")
        if (self.kind == "other") != (self.turns is not None):
            raise ValueError("turns belong to other, and to other alone")
        if self.turns is not None and not all(isfinite(t) and abs(t) <= _MOST_TURNS for t in self.turns):
            raise ValueError(f"turns are numbers between -{_MOST_TURNS:.0f} and {_MOST_TURNS:.0f}")
