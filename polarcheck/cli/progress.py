"""Progress of long work, on one line of a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import typer

__all__ = ["progress_line"]


def progress_line(
    few: int = 20, doing: str = "reading frame", *, with_time_left: bool = False
) -> Callable[[int, int], None] | None:
    """Return a function that shows progress on one line of a terminal; None where nobody watches.

    Of so few frames nothing is shown.
    """
    if not sys.stderr.isatty():
        return None
    begun = time.monotonic()

    def show(done: int, total: int) -> None:
        if total > few and (done % max(1, total // 200) == 0 or done == total):
            left = _time_left(time.monotonic() - begun, done, total) if with_time_left else ""
            end = "\r" + " " * (60 if with_time_left else 40) + "\r" if done == total else ""
            typer.echo(f"\r{doing} {done} of {total}{left}{end}", err=True, nl=False)

    return show


def _time_left(spent_s: float, done: int, total: int) -> str:
    """Say how long the rest takes if it goes on like that, with spaces over what a longer line left."""
    left = spent_s / done * (total - done)
    return f", about {left / 60:.0f} min left   " if left >= 90 else f", about {left:.0f} s left   "
