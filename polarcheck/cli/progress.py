"""Progress of long work, on one line of a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable

import typer

__all__ = ["progress_line"]


def progress_line(few: int = 20, doing: str = "reading frame") -> Callable[[int, int], None] | None:
    """Return a function that shows progress on one line of a terminal; None where nobody watches.

    Of so few frames nothing is shown.
    """
    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int) -> None:
        if total > few and (done % max(1, total // 200) == 0 or done == total):
            end = "\r" + " " * 40 + "\r" if done == total else ""
            typer.echo(f"\r{doing} {done} of {total}{end}", err=True, nl=False)

    return show
