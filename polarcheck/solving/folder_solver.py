"""A folder kept solved while frames come in: in a thread of its own, until it is told to stop."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from polarcheck.errors import PolarcheckError
from polarcheck.frames import mains, offers
from polarcheck.solving.folder import SolvedSet, solve_frames
from polarcheck.solving.one_frame import Shared
from polarcheck.solving.solver import Solver

__all__ = ["FolderSolver"]

_PAUSE_S = 1.0
_PATIENCE_S = 15.0


class FolderSolver:
    """Solves what comes into a folder; each file is tried once for each state that it is seen in.

    Parameters
    ----------
    folder : pathlib.Path
    solver : Solver
    recursive : bool
        Whether to look into subfolders too.
    told : callable, optional
        Called from the thread with each `SolvedSet` in which something was solved or could not be.

    Raises
    ------
    InputError
        There is no solver on this machine.
    """

    def __init__(
        self,
        folder: Path,
        solver: Solver,
        *,
        recursive: bool = False,
        told: Callable[[SolvedSet], None] | None = None,
    ) -> None:
        self._folder, self._solver, self._recursive = folder, solver.ready(), recursive
        self._told = told
        self._shared = Shared(keeps_at_once=False)  # a watch reads each file when it changes
        self._tried: dict[Path, tuple[int, int]] = {}
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="solving", daemon=True)

    def __enter__(self) -> FolderSolver:
        """Begin."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop, and leave no solver running."""
        self._over.set()
        self._shared.children.end_all()
        self._thread.join(_PATIENCE_S)

    def _run(self) -> None:
        before: dict[Path, tuple[int, int]] = {}
        while not self._over.wait(_PAUSE_S):
            now = self._states()
            settled = [p for p, s in now.items() if before.get(p) == s and self._tried.get(p) != s]
            before = now
            if settled:
                self._solve(settled, now)

    def _states(self) -> dict[Path, tuple[int, int]]:
        """Time and size of the files that may be frames; what vanishes meanwhile is none."""
        found = {}
        try:
            offered = offers([self._folder], self._recursive)
        except (PolarcheckError, OSError):  # nothing is there yet
            return {}
        others = mains(offered)
        for path in (offer.path for offer in offered if offer.path not in others):
            try:
                known = path.stat()
            except OSError:
                continue
            found[path] = known.st_mtime_ns, known.st_size
        return found

    def _solve(self, paths: list[Path], states: dict[Path, tuple[int, int]]) -> None:
        try:
            solved = solve_frames(paths, self._solver, shared=self._shared)
        except (PolarcheckError, OSError):  # a file went away between two looks; the next look tells
            return
        if self._over.is_set():
            return
        self._tried |= {path: states[path] for path in paths}
        if self._told is not None and any(frame.seconds for frame in solved.frames):
            self._told(solved)
