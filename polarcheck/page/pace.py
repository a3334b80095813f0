"""How quickly clients are let in."""

from __future__ import annotations

import math

__all__ = ["Pace"]

_A_SECOND = 40.0  # new connections that are looked at; more wait in the system's queue
_AT_ONCE = 20


class Pace:
    """A pace that leaves the processor to the watch: some at once, then no more than so many a second."""

    def __init__(self) -> None:
        self._next = -math.inf

    def wait_s(self, now: float) -> float:
        """Take a turn, and return how long to wait for it. [s]

        Parameters
        ----------
        now : float
            By any clock that does not go back. [s]
        """
        self._next = max(self._next, now - _AT_ONCE / _A_SECOND) + 1 / _A_SECOND
        return max(0.0, self._next - now)
