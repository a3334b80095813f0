"""Progress of long work, on one line of a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import typer

__all__ = ["progress_line"]

_AT_ONCE_S = 1.0  # work that ends sooner shows no progress


def progress_line(
    doing: str = "reading frame", *, with_time_left: bool = False
) -> Callable[[int, int], None] | None:
    """Return a function that shows progress on one line of a terminal; None where nobody watches."""
    if not sys.stderr.isatty():
        return None
    wide = 60 if with_time_left else 40
    begun: float | None = time.monotonic()
    shown = False

    def show(done: int, total: int) -> None:
        nonlocal begun, shown
        begun = time.monotonic() if begun is None else begun
        spent = time.monotonic() - begun
        if done == total:
            if shown:
                typer.echo("\r" + " " * wide + "\r", err=True, nl=False)
            begun, shown = None, False
        elif spent >= _AT_ONCE_S and (not shown or done % max(1, total // 200) == 0):
            left = _time_left(spent, done, total) if with_time_left else ""
            typer.echo(f"\r{doing} {done} of {total}{left}", err=True, nl=False)
            shown = True

    return show


def _time_left(spent_s: float, done: int, total: int) -> str:
    """Say how long the rest takes if it goes on like that, with spaces over what a longer line left."""
    left = spent_s / done * (total - done)
    return f", about {left / 60:.0f} min left   " if left >= 90 else f", about {left:.0f} s left   "
