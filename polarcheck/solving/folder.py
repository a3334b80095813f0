"""Many frames: solved side by side, and each solution kept as soon as it is there."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Lock

from polarcheck.errors import FrameError, InputError
from polarcheck.frames import (
    mains,
    may_write_solution,
    offers,
    read_solution,
    solution_path,
)
from polarcheck.given import PathLike, as_paths
from polarcheck.printable import printable
from polarcheck.solving.children import StoppedError
from polarcheck.solving.keeping import keep_best, keep_engine_solution, place_and_scale
from polarcheck.solving.one_frame import (
    NotSolvedError,
    Recognised,
    Shared,
    SolvedFrame,
    State,
    recognise,
)
from polarcheck.solving.refit import View, refit, view_of
from polarcheck.solving.solver import Solver

__all__ = ["SolvedSet", "solve_frame", "solve_frames"]

_MOST_AT_ONCE = 8


@dataclass(frozen=True, slots=True)
class SolvedSet:
    """What became of all frames.

    Attributes
    ----------
    frames : tuple of SolvedFrame
        In the order of their names.
    was_stopped : bool
        Whether the interrupt key ended it early; what was solved by then is kept.
    """

    frames: tuple[SolvedFrame, ...]
    was_stopped: bool = False

    def some(self, state: State) -> tuple[SolvedFrame, ...]:
        """Return the frames of a `state`."""
        return tuple(frame for frame in self.frames if frame.state is state)


@dataclass
class _Run:
    """One call: the solver, what the frames share, and which files are spoken for."""

    solver: Solver
    shared: Shared
    _taken: dict[Path, str] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def target(self, path: Path, name: str) -> Path:
        """Return the file that a frame's solution goes to, or say why it cannot."""
        file = solution_path(path, self.solver.into)
        with self._lock:
            owner = self._taken.setdefault(file, name)
        if owner != name:
            raise NotSolvedError(
                f"would be kept in {printable(file.name)}, as {owner} is; rename one of them"
            )
        if not may_write_solution(file):
            raise NotSolvedError(
                f"{printable(file.name)} is there already and was not made by polarcheck; remove it, or keep solutions "
                "in another folder"
            )
        return file


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What became of a frame, and what its attitude may be fitted to again."""

    frame: SolvedFrame
    seen: Recognised | None = None
    view: View | None = None


def solve_frame(path: PathLike, solver: Solver, *, again: bool = False) -> SolvedFrame:
    """Solve one frame and keep its solution; for one that comes in while others wait, from any thread.

    Parameters
    ----------
    path : path
        An image.
    solver : Solver
    again : bool
        Whether to solve it although it has a solution.

    Returns
    -------
    SolvedFrame
        A frame that cannot be solved is one with a reason, and raises nothing.
    """
    return solve_frames(path, solver, again=again).frames[0]


def solve_frames(
    paths: PathLike | Sequence[PathLike],
    solver: Solver,
    *,
    recursive: bool = False,
    again: bool = False,
    progress: Callable[[int, int], None] | None = None,
    shared: Shared | None = None,
) -> SolvedSet:
    """Solve all frames that are not solved yet, side by side.

    Parameters
    ----------
    paths : path or sequence of paths
        Folders, files or patterns.
    solver : Solver
    recursive : bool
        Whether to look into subfolders too.
    again : bool
        Whether to solve frames that have a solution, too.
    progress : callable, optional
        Called with the number of frames done and of all frames.
    shared : Shared, optional
        What earlier calls learned; its `children` can be ended from elsewhere.

    Returns
    -------
    SolvedSet
        The interrupt key ends it early and loses nothing.

    Raises
    ------
    InputError
        Nothing is there, or the folder for solutions cannot be used.
    """
    offered = offers(as_paths(paths), recursive)
    others = mains(offered)
    files = [(offer.path, offer.name) for offer in offered if offer.path not in others]
    if solver.into is not None and not solver.into.is_dir():
        raise InputError(f"there is no folder {printable(solver.into)} for the solutions; make it", ["into"])
    done = {} if again else _known_among(files, solver)
    todo = [(path, name) for path, name in files if path not in done]
    found: list[_Outcome] = []
    was_stopped = False
    if todo:
        solver = solver.ready()
    try:
        for outcome in _side_by_side(todo, _Run(solver, shared or Shared())):
            found.append(outcome)
            if progress is not None:
                progress(len(found), len(todo))
    except KeyboardInterrupt:
        was_stopped = True
    done |= {frame.path: frame for frame in _fitted_again(found, solver)}
    return SolvedSet(tuple(done[path] for path, _ in files if path in done), was_stopped)


def _fitted_again(found: Sequence[_Outcome], solver: Solver) -> list[SolvedFrame]:
    """Fit the cameras of all that were recognised, and keep what is best of each frame."""
    refitted = refit([outcome.view for outcome in found if outcome.view is not None])

    def kept(outcome: _Outcome) -> SolvedFrame:
        frame, seen = outcome.frame, outcome.seen
        return frame if seen is None else keep_best(frame, seen, refitted.get(frame.path), solver)

    if all(outcome.seen is None for outcome in found):
        return [outcome.frame for outcome in found]
    with ThreadPoolExecutor(_MOST_AT_ONCE) as workers:  # each file waits for the disk
        return list(workers.map(kept, found))


def _known_among(files: Sequence[tuple[Path, str]], solver: Solver) -> dict[Path, SolvedFrame]:
    known = (_known(path, name, solver) for path, name in files)
    return {frame.path: frame for frame in known if frame is not None}


def _side_by_side(files: Sequence[tuple[Path, str]], run: _Run) -> Iterator[_Outcome]:
    """Yield frames as they are done; however this ends, no solver outlives it."""
    if not files:
        return
    at_once = (os.cpu_count() or 1) + 1  # one more: a solver waits for its own programs now and then
    workers = ThreadPoolExecutor(min(at_once, _MOST_AT_ONCE, len(files)))
    waiting: set[Future[_Outcome]] = set()
    try:
        waiting = {workers.submit(_solved, path, name, run) for path, name in files}
        while waiting:
            ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for future in ready:
                yield future.result()
    finally:
        for future in waiting:
            future.cancel()
        if waiting:
            run.shared.children.end_all()
        workers.shutdown(wait=True, cancel_futures=True)


def _solved(path: Path, name: str, run: _Run) -> _Outcome:
    begun = time.monotonic()
    frame = SolvedFrame(path, name, State.UNSOLVED)
    try:
        file = run.target(path, name)
        seen = recognise(path, run.solver, run.shared)
        if run.shared.keeps_at_once:
            frame = keep_engine_solution(frame, seen, file, run.solver, waits=False)  # for the worst
        else:
            frame = replace(frame, solution=file)
        view = view_of(seen, run.solver.site) if run.solver.refits else None
    except NotSolvedError as error:
        return _Outcome(replace(frame, reason=str(error), seconds=time.monotonic() - begun))
    except InputError as error:  # its solution cannot be written
        return _Outcome(replace(frame, reason=str(error), seconds=time.monotonic() - begun))
    except StoppedError:
        return _Outcome(replace(frame, reason="was stopped before it was solved"))
    return _Outcome(replace(frame, seconds=time.monotonic() - begun), seen, view)


def _known(path: Path, name: str, solver: Solver) -> SolvedFrame | None:
    """Return a frame that has a solution already."""
    kept = None if solver.into is None else solution_path(path, solver.into)
    file = kept if kept is not None and kept.is_file() else path
    try:
        solution = read_solution(file)
    except FrameError:
        return None
    beside = solution_path(path)
    holder = file if file is kept else beside if beside.is_file() else path
    place, scale = place_and_scale(solution)
    return SolvedFrame(path, name, State.WAS_SOLVED, holder, place_deg=place, scale_arcsec=scale)
