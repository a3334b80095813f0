"""To which night belongs what is told of an alignment."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from polarcheck import night
from polarcheck.cli.night_asking import book_in
from polarcheck.errors import Notice
from polarcheck.printable import printable

if TYPE_CHECKING:
    from polarcheck.cli.alignment_asking import Asked

__all__ = ["book_of"]


def book_of(
    asked: Asked, paths: Sequence[Path], no_night: bool
) -> tuple[night.NightBook | None, tuple[Notice, ...]]:
    """Return where what is told of an alignment belongs: the night whose last finding it is.

    What was measured for it is written there first, so that a night may begin with any command.
    """
    if no_night or (not paths and asked.tonight is None):
        return None, ()
    if asked.measurement is None:
        now = asked.tonight or night.night_that_knows(
            asked.alignment, [*(path.parent for path in paths), Path()]
        )
        stands = now is not None and now.account.stands_at(asked.alignment)
        return (book_in(now.folder, asked.rig) if now and stands else None), ()
    book = book_in(night.common_folder(paths), asked.rig)
    if book is None:
        return None, ()
    unkept = book.write(book.measured(asked.measurement, paths))
    now = None if unkept else night.tonight_in(book.folder)
    if now is None or now.account.stands_at(asked.measurement.alignment):
        return (None if unkept else book), unkept
    return None, (_night_later(book),)


def _night_later(book: night.NightBook) -> Notice:
    return Notice(
        "night-later",
        f"{printable(book.path)} knows of what came after these frames. This is how the mount stood then; for how it "
        "stands now, name that file instead.",
    )
