"""Single keys from the terminal, without Enter; nothing where nobody sits at one."""

from __future__ import annotations

import _thread
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["keys_heard", "may_hear"]

_PAUSE_S = 0.05


def may_hear() -> bool:
    """Whether standard input is a terminal."""
    return sys.stdin is not None and sys.stdin.isatty()


@contextmanager
def keys_heard(heard: Callable[[str], None] | None) -> Iterator[None]:
    """Call a function with each key that is pressed, in a thread of its own; the terminal is restored at the end."""
    if heard is None or not may_hear():
        yield
        return
    over = threading.Event()
    with _single_keys():
        thread = threading.Thread(target=_listen, args=(heard, over), name="keys", daemon=True)
        thread.start()
        try:
            yield
        finally:
            over.set()
            thread.join(1.0)


if sys.platform == "win32":
    import msvcrt

    @contextmanager
    def _single_keys() -> Iterator[None]:
        yield

    def _listen(heard: Callable[[str], None], over: threading.Event) -> None:
        while not over.is_set():
            if not msvcrt.kbhit():
                time.sleep(_PAUSE_S)
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
    def _single_keys() -> Iterator[None]:
        """Keys come at once and are not echoed; the interrupt key still interrupts."""
        descriptor = sys.stdin.fileno()
        before = termios.tcgetattr(descriptor)
        tty.setcbreak(descriptor)
        try:
            yield
        finally:
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)

    def _listen(heard: Callable[[str], None], over: threading.Event) -> None:
        descriptor = sys.stdin.fileno()
        while not over.is_set():
            ready, _, _ = select.select([descriptor], [], [], _PAUSE_S)
            if not ready:
                continue
            typed = os.read(descriptor, 64).decode(errors="replace")
            if not typed:  # the terminal has gone
                return
            if typed.startswith("\x1b") and len(typed) > 1:  # an arrow or function key
                continue
            for key in typed:
                heard(key)


def _interrupt() -> None:
    _thread.interrupt_main()
