"""Single keys from the terminal, without Enter; nothing where nobody sits at one."""

from __future__ import annotations

import _thread
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["keys_heard", "may_hear"]


def may_hear() -> bool:
    """Whether standard input is a terminal."""
    return sys.stdin is not None and sys.stdin.isatty()


@contextmanager
def keys_heard(heard: Callable[[str], None] | None) -> Iterator[None]:
    """Call a function with each key that is pressed, in a thread of its own; the terminal is restored at the end."""
    if heard is None or not may_hear():
        yield
        return
    with _listening(heard):
        yield


def _started(listen: Callable[..., None], *given: object) -> threading.Thread:
    thread = threading.Thread(target=listen, args=given, name="keys", daemon=True)
    thread.start()
    return thread


if sys.platform == "win32":
    import msvcrt

    @contextmanager
    def _listening(heard: Callable[[str], None]) -> Iterator[None]:
        over = threading.Event()
        thread = _started(_listen, heard, over)
        try:
            yield
        finally:
            over.set()
            thread.join(1.0)

    def _listen(heard: Callable[[str], None], over: threading.Event) -> None:
        while not over.is_set():
            if not msvcrt.kbhit():
                time.sleep(0.05)  # a key seems to be heard at once
                continue
            key = msvcrt.getwch()
            if key in ("\x00", "\xe0"):  # an arrow or function key: its second half tells nothing here
                msvcrt.getwch()
            elif key == "\x03":
                _interrupt()
            else:
                heard(key)

else:
    import os
    import select
    import termios
    import tty

    @contextmanager
    def _listening(heard: Callable[[str], None]) -> Iterator[None]:
        """Keys come at once and are not echoed; the interrupt key still interrupts."""
        descriptor = sys.stdin.fileno()
        before = termios.tcgetattr(descriptor)
        over, end = os.pipe()
        tty.setcbreak(descriptor)
        thread = _started(_listen, heard, descriptor, over)
        try:
            yield
        finally:
            os.close(end)  # the other end is heard to close
            thread.join(1.0)
            os.close(over)
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)

    def _listen(heard: Callable[[str], None], descriptor: int, over: int) -> None:
        while True:
            ready, _, _ = select.select([descriptor, over], [], [])
            if over in ready:
                return
            typed = os.read(descriptor, 64).decode(errors="replace")
            if not typed:  # the terminal has gone
                return
            if typed.startswith("\x1b") and len(typed) > 1:  # an arrow or function key
                continue
            for key in typed:
                heard(key)


def _interrupt() -> None:
    _thread.interrupt_main()
