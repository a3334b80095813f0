"""One frame: its stars listed, given to the solver, and what came of it."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from enum import Enum
from pathlib import Path
from threading import Lock, Semaphore

from polarcheck.errors import FrameError
from polarcheck.frames import SolvingHints, read_image, read_solving_hints
from polarcheck.printable import printable
from polarcheck.solving.children import Children
from polarcheck.solving.engine import EngineError, Match, Task
from polarcheck.solving.reasons import why_not_recognised, why_nothing_to_match
from polarcheck.solving.solver import Solver
from polarcheck.solving.wanted import Hints, Place, attempts
from polarcheck.stars import StarList, list_stars

__all__ = [
    "STAR_SOURCES",
    "Learned",
    "NotSolvedError",
    "Recognised",
    "Shared",
    "SolvedFrame",
    "State",
    "recognise",
]

STAR_SOURCES = {
    "Gaia": "Gaia, moved to the date",
    "Gaia of 2016": "Gaia, as they stood in 2016",
    "Hipparcos": "Hipparcos, moved to the date",
    "index": "the solver's index, as of its epoch",
}
"""What the names of `SolvedFrame.stars_from` mean: by proper motion, or without one."""

_SMALLEST_PX = 64
_LEARNED = 0.02
_IMAGES_AT_ONCE = 2
_FIRST_SHARE = 0.5  # of the time that is left, for what may rest on a wrong hint


class State(Enum):
    """What became of a frame."""

    SOLVED = "solved"
    WAS_SOLVED = "was solved"
    UNSOLVED = "unsolved"


class NotSolvedError(Exception):
    """A frame could not be solved; the text is printable and says why."""


@dataclass(frozen=True, slots=True)
class SolvedFrame:
    """What became of one frame.

    Attributes
    ----------
    path : pathlib.Path
    name : str
        Printable.
    state : State
    solution : pathlib.Path or None
        The file that holds its solution.
    reason : str or None
        Why it is not solved, printable.
    place_deg : tuple of float or None
        ICRS right ascension and declination of the sensor's centre. [deg]
    scale_arcsec : float or None
        At the centre. [arcsec/px]
    matched_stars : int or None
        Stars that the solution rests on.
    residual_rms_px : float or None
        Of these stars, per coordinate. [px]
    seconds : float
        It took; 0 where it was solved before. [s]
    engine : str or None
        What recognised it.
    stars_from : tuple of (str, int)
        How many of the matched stars have their places from which catalogue, by the names of `STAR_SOURCES`.
    lens_order, lens_frames : int or None
        Order of the distortion that was fitted, 1 for none, and how many frames share it; None where the solver's own
        solution was kept.
    """

    path: Path
    name: str
    state: State
    solution: Path | None = None
    reason: str | None = None
    place_deg: tuple[float, float] | None = None
    scale_arcsec: float | None = None
    matched_stars: int | None = None
    residual_rms_px: float | None = None
    seconds: float = 0.0
    engine: str | None = None
    stars_from: tuple[tuple[str, int], ...] = ()
    lens_order: int | None = None
    lens_frames: int | None = None


@dataclass(frozen=True, slots=True)
class Recognised:
    """A frame whose stars the solver matched.

    Attributes
    ----------
    path : pathlib.Path
    stars : StarList
    match : Match
    said : SolvingHints
        What its header says.
    """

    path: Path
    stars: StarList
    match: Match
    said: SolvingHints


@dataclass
class Learned:
    """Pixel scales of the sizes of image that were solved already: frames of one camera are alike."""

    _scales: dict[tuple[int, int], float] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def scale(self, size_px: tuple[int, int]) -> tuple[float, float] | None:
        """Return the likely scale of an image of a size. [arcsec/px]"""
        with self._lock:
            known = self._scales.get(size_px)
        return None if known is None else (known * (1 - _LEARNED), known * (1 + _LEARNED))

    def add(self, size_px: tuple[int, int], scale_arcsec: float) -> None:
        """Keep the scale [arcsec/px] of an image of `size_px`."""
        with self._lock:
            self._scales[size_px] = scale_arcsec


@dataclass(frozen=True)
class Shared:
    """What the frames of one run have in common.

    Attributes
    ----------
    children : Children
        The solvers that run.
    learned : Learned
    reading : Semaphore
        How many images are in the memory at once.
    keeps_at_once : bool
        Whether to write each frame's own solution before all are fitted together, so that an interrupt loses nothing;
        else each file is written once.
    """

    children: Children = field(default_factory=Children)
    learned: Learned = field(default_factory=Learned)
    reading: Semaphore = field(default_factory=lambda: Semaphore(_IMAGES_AT_ONCE))
    keeps_at_once: bool = True


def recognise(path: Path, solver: Solver, shared: Shared) -> Recognised:
    """Let the solver recognise one frame; nothing is written.

    Parameters
    ----------
    path : pathlib.Path
    solver : Solver
    shared : Shared

    Returns
    -------
    Recognised

    Raises
    ------
    NotSolvedError
        With the reason.
    StoppedError
        The work was called off.
    """
    try:
        said = read_solving_hints(path, clock_ahead_s=solver.clock_ahead_s, zone=solver.zone)
        with shared.reading:
            stars = _stars_of(path)
    except FrameError as error:
        raise NotSolvedError(error.reason) from None
    except MemoryError:
        raise NotSolvedError("is too large for the memory of this machine") from None
    nothing = why_nothing_to_match(stars)
    if nothing is not None:
        raise NotSolvedError(nothing)
    match = _matched(path, stars, _hints(solver, said), solver, shared)
    shared.learned.add((stars.width_px, stars.height_px), match.solution.sampled()[1])
    return Recognised(path, stars, match, said)


def _stars_of(path: Path) -> StarList:
    image = read_image(path)
    height, width = image.pixels.shape[-2:]
    if min(height, width) < _SMALLEST_PX:
        raise NotSolvedError(f"is too small to be recognised, {width} x {height} px")
    return list_stars(image.pixels, mosaic=image.mosaic)


def _hints(solver: Solver, said: SolvingHints) -> Hints:
    """What is known of a frame: the user's word first, then the rig file's, then the header's."""
    from_rig = solver.rig_scale_arcsec
    scale = solver.scale_arcsec or (
        said.scale_arcsec if from_rig is None else (0.9 * from_rig, 1.1 * from_rig)
    )
    place = solver.place
    if place is None and said.place_deg is not None:
        place = Place(*said.place_deg)
    return Hints(scale, place, is_stated=solver.scale_arcsec is not None)


def _matched(path: Path, stars: StarList, hints: Hints, solver: Solver, shared: Shared) -> Match:
    end = time.monotonic() + solver.limit_s
    size = (stars.width_px, stars.height_px)
    tries = list(attempts(hints))
    likely = shared.learned.scale(size)
    if likely is not None and not hints.is_stated:
        tries.insert(0, replace(hints, scale_arcsec=likely))
    for number, told in enumerate(tries, 1):
        left = end - time.monotonic()
        if left <= 0:
            break
        share = 1.0 if number == len(tries) else _FIRST_SHARE
        with _own_folder() as folder:
            match = _tried(Task(path, stars, told, folder, share * left), solver, shared.children)
        if match is not None:
            return match
    time_was_up = time.monotonic() >= end - 0.05
    raise NotSolvedError(
        why_not_recognised(stars, hints, solver.engine, solver.limit_s, time_was_up=time_was_up)
    )


def _tried(task: Task, solver: Solver, children: Children) -> Match | None:
    try:
        match = solver.engine.match(task, children)
    except EngineError as error:
        raise NotSolvedError(str(error)) from None
    except OSError as error:
        raise NotSolvedError(
            f"could not be given to the solver: a temporary file cannot be written ({printable(error.strerror or error)})"
        ) from None
    if match is not None and task.hints.is_stated:
        least, most = task.hints.scale_range(task.size_px[0])
        if not 0.98 * least <= match.solution.sampled()[1] <= 1.02 * most:
            return None
    return match


@contextmanager
def _own_folder() -> Iterator[Path]:
    """A temporary folder that is gone afterwards, whatever was left in it."""
    try:
        folder = Path(tempfile.mkdtemp(prefix="polarcheck-"))
    except OSError as error:
        raise NotSolvedError(
            f"could not be given to the solver: no temporary folder can be made ({printable(error.strerror or error)})"
        ) from None
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
