"""The night that a command goes on with, and what it writes into its file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import night
from polarcheck.cli.output import warn
from polarcheck.errors import FitError, GeometryError, InputError
from polarcheck.printable import printable
from polarcheck.writing import NIGHT_FILE

if TYPE_CHECKING:
    from polarcheck.rig import Rig

__all__ = [
    "NoNightOption",
    "book_in",
    "may_be_kept",
    "night_here",
    "night_named",
    "refusal_kept",
]

NoNightOption = Annotated[
    bool, typer.Option("--no-night", help="Write nothing into the night's file beside the frames.")
]


def may_be_kept(folder: Path) -> bool:
    """Return whether a night may begin in a folder: wherever there is one."""
    return folder.is_dir()


def book_in(folder: Path | None, rig: Rig | None, no_night: bool = False) -> night.NightBook | None:
    """Return what writes into the night's file of a folder; None where nothing is to be written."""
    if no_night or folder is None or not may_be_kept(folder):
        return None
    return night.NightBook(folder, rig)


def night_named(path: Path) -> night.Tonight:
    """Return the night of a folder or of a night's file; none there is an `InputError`."""
    folder = path.parent if path.name == NIGHT_FILE else path
    found = night.tonight_in(folder)
    if found is None:
        raise InputError(
            f"there is no {NIGHT_FILE} in {printable(folder.absolute())}: no night to go on with. Measure a sweep "
            "there, or name a result"
        )
    return found


def night_here() -> night.Tonight | None:
    """Return the night of the current folder, if there is one."""
    return night.tonight_in(Path()) if Path(NIGHT_FILE).exists() else None


@contextmanager
def refusal_kept(book: night.NightBook | None, offered: Sequence[Path]) -> Iterator[None]:
    """Write into a night that is going on that frames gave no honest result; the error goes on its way.

    A wrong name or setting is no such thing.
    """
    try:
        yield
    except (FitError, GeometryError) as error:
        if book is not None and book.path.exists():
            warn(book.write(book.refused(error, offered)))
        raise
