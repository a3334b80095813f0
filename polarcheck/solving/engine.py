"""What every solver is to this room: star list and hints in, a solution out, or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from polarcheck.frames import Solution
from polarcheck.solving.children import Children
from polarcheck.solving.wanted import Hints
from polarcheck.stars import StarList
from polarcheck.vectors import Array

__all__ = ["Engine", "EngineError", "Match", "Task"]


class EngineError(Exception):
    """A solver failed by itself: it is not there, crashed, hung or wrote nonsense. The text is printable."""


@dataclass(frozen=True, slots=True)
class Task:
    """One attempt at one frame.

    Attributes
    ----------
    image : pathlib.Path
        The frame.
    stars : StarList
    hints : Hints
    folder : pathlib.Path
        A temporary folder, for this attempt alone.
    limit_s : float
        [s]
    """

    image: Path
    stars: StarList
    hints: Hints
    folder: Path
    limit_s: float

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of the image. [px]"""
        return self.stars.width_px, self.stars.height_px


@dataclass(frozen=True, slots=True)
class Match:
    """What a solver found.

    Attributes
    ----------
    solution : Solution
        Its own.
    pixels : ndarray, shape (n, 2), or None
        0-based places of the stars that it matched, where it says so. [px]
    sky : ndarray, shape (n, 3), or None
        The same in its catalogue, ICRS unit vectors at the catalogue's epoch.
    """

    solution: Solution
    pixels: Array | None = None
    sky: Array | None = None


class Engine(Protocol):
    """A general plate solver.

    Attributes
    ----------
    name : str
        Printable.
    """

    @property
    def name(self) -> str:
        """What to call it, printable."""
        ...

    def match(self, task: Task, children: Children) -> Match | None:
        """Try to solve a frame; None where the stars were not recognised.

        Raises
        ------
        EngineError
            It failed by itself.
        StoppedError
            The work was called off.
        """
        ...

    def missing_sizes(self, hints: Hints, size_px: tuple[int, int]) -> tuple[float, float] | None:
        """Return the sizes of star pattern [arcmin] that a field needs and no index file holds, where that is known."""
        ...
