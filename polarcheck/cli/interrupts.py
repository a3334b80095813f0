"""The interrupt key and the polite request to end: heard at once, but for moments that must not be torn apart."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["Interrupts"]


class Interrupts:
    """Raises KeyboardInterrupt for both, later where they are put off."""

    def __init__(self) -> None:
        self._is_put_off = self._waits = False

    @contextmanager
    def heard(self) -> Iterator[None]:
        """Hear them; outside the main thread, which alone can, nothing changes."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = {number: signal.signal(number, self._hear) for number in (signal.SIGINT, signal.SIGTERM)}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    @contextmanager
    def put_off(self) -> Iterator[None]:
        """Put one off to the end of what is done here; a second one does not wait. Not to be nested."""
        self._is_put_off = True
        try:
            yield
        finally:
            self._is_put_off, waited, self._waits = False, self._waits, False
        if waited:
            raise KeyboardInterrupt

    def _hear(self, *_: object) -> None:
        if self._is_put_off and not self._waits:
            self._waits = True
            return
        raise KeyboardInterrupt
