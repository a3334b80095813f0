"""The interrupt key and the polite request to end: heard at once, but for moments that must not be torn apart."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["Interrupts"]

_NOT_OURS = (
    signal.SIG_IGN,
    None,
)  # ignored, as in the background of a shell; set by another program around us


class Interrupts:
    """Raises KeyboardInterrupt for both, later where they are put off."""

    def __init__(self) -> None:
        self._is_put_off = self._waits = False

    @contextmanager
    def heard(self) -> Iterator[None]:
        """Hear them, but for one that whoever started us has us ignore; outside the main thread nothing changes."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
        before = {number: handler for number, handler in before.items() if handler not in _NOT_OURS}
        for number in before:
            signal.signal(number, self._hear)
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
