"""Talk of libraries kept still for a while, from any number of threads.

Filters of warnings and the state of a log belong to the whole process. Threads that each save and restore them leave
behind what another one had set; so the first that comes in saves them, and the last that leaves restores them.
"""

from __future__ import annotations

import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from threading import Lock

__all__ = ["WhileAny", "quiet"]


class WhileAny:
    """A change of the process's state that holds while anyone is inside.

    Parameters
    ----------
    make : callable
        Returns the context that makes the change and undoes it.
    """

    def __init__(self, make: Callable[[], AbstractContextManager[object]]) -> None:
        self._make = make
        self._lock = Lock()
        self._inside = 0
        self._change: AbstractContextManager[object] | None = None

    def __enter__(self) -> None:
        """Make the change, unless someone is inside already."""
        with self._lock:
            if self._inside == 0:
                change = self._make()
                change.__enter__()
                self._change = change
            self._inside += 1

    def __exit__(self, *_: object) -> None:
        """Undo it, unless someone is still inside."""
        with self._lock:
            self._inside -= 1
            if self._inside == 0 and self._change is not None:
                self._change.__exit__(None, None, None)


@contextmanager
def _no_warnings() -> Iterator[None]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


_for_all_threads = WhileAny(_no_warnings)
_EACH_HAS_ITS_OWN = bool(getattr(sys.flags, "context_aware_warnings", False))
"""Whether each thread has its own filters, as Python can be told to from 3.14 on."""


def quiet() -> AbstractContextManager[None]:
    """Return a context in which nothing warns, whichever thread enters or leaves it first.

    Returns
    -------
    context manager
    """
    return _no_warnings() if _EACH_HAS_ITS_OWN else _for_all_threads
