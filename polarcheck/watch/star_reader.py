"""Stars of single frames, measured beside the watch: one frame at a time, the newest first, none waited for."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path

import numpy as np

from polarcheck.stars import find_stars, middle_elongation

__all__ = ["StarReader"]

_LET_PASS_S = 1.0  # before a frame is read, so that it is on the screen before
_REST_S = 4.0  # between two frames, so that most of a core is left
_KEPT = 20  # results that nobody fetched
_PATIENCE_S = 5.0


class StarReader:
    """Measures how long stars are, in a thread of its own.

    Parameters
    ----------
    told : callable
        Called from the thread when there is a result.
    """

    def __init__(self, told: Callable[[], None]) -> None:
        self._told = told
        self._wanted: Path | None = None
        self._found: deque[tuple[Path, float | None]] = deque(maxlen=_KEPT)
        self._called, self._over = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, name="stars", daemon=True)

    def __enter__(self) -> StarReader:
        """Begin."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop; a frame under way is not waited for long."""
        self._over.set()
        self._called.set()
        self._thread.join(_PATIENCE_S)

    def want(self, path: Path) -> None:
        """Have a frame measured; one that was wanted before and not begun is passed over."""
        self._wanted = path
        self._called.set()

    def found(self) -> list[tuple[Path, float | None]]:
        """Return frames and how long their stars are, None for not known; each once."""
        return [self._found.popleft() for _ in range(len(self._found))]

    def _run(self) -> None:
        find_stars(np.zeros((32, 32)))  # what it needs is loaded before the first frame
        while not self._over.is_set():
            self._called.wait()
            if self._over.wait(_LET_PASS_S):
                return
            self._called.clear()
            path, self._wanted = self._wanted, None
            if path is not None:
                self._found.append((path, middle_elongation(path)))
                self._told()
                self._over.wait(_REST_S)
