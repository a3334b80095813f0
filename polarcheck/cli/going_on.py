"""What new frames go on from: a kept result, or the night of their folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from polarcheck import alignment, night, report
from polarcheck.cli.ending import say
from polarcheck.cli.night_asking import night_here, night_named
from polarcheck.cli.turned_asking import turns_made
from polarcheck.errors import InputError
from polarcheck.writing import NIGHT_FILE

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.errors import Notice
    from polarcheck.rig import Rig

__all__ = ["Start", "going_on_from", "start_from"]

Turns = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Start:
    """What new frames go on from.

    Attributes
    ----------
    before : Alignment
        How the mount stood.
    frames : list of pathlib.Path
        Taken since.
    place : pathlib.Path
        Of the result or the night, beside which a rig file may lie.
    tonight : Tonight or None
        The night that knows that result.
    is_named : bool
        Whether a kept result was named, so that nothing of the night is taken as said.
    """

    before: Alignment
    frames: Sequence[Path]
    place: Path
    tonight: night.Tonight | None
    is_named: bool

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What to warn of: lines of the night's file that could not be read."""
        return () if self.is_named or self.tonight is None else self.tonight.notices

    def turns(self, said: Turns | Literal["told"] | None, rig: Rig | None) -> Turns | None:
        """Return the turns since then: as said, else as the night has them, which is told on stderr."""
        told = None if self.is_named or self.tonight is None else self.tonight.account.taken
        if told is None or not (said is None or said == "told"):
            return turns_made(said, self.before, rig)
        if said is None:
            say(report.taken_text(told))
        return told

    def turned(
        self, book: night.NightBook | None, turns: Turns | None, *, as_told: bool
    ) -> tuple[night.TurnedEvent, ...]:
        """Return the event of the turns, to go before what was found after them; they belong to the last finding only."""
        if book is None or turns is None or self.tonight is None:
            return ()
        account = self.tonight.account
        if not account.stands_at(self.before) or book.folder.resolve() != self.tonight.folder.resolve():
            return ()
        return book.turned_in_all(account, turns, as_told=as_told)


def going_on_from(paths: Sequence[Path]) -> Start:
    """Part a command line into what to go on from and frames.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        A kept result (``.json``) or a night's file, and frames; or frames alone, which go on with the night of their
        folder, else of the current one.

    Raises
    ------
    InputError
        There are no frames, or there is nothing to go on from.
    """
    first, rest = paths[0], list(paths[1:])
    if first.suffix.lower() != ".json" and first.name != NIGHT_FILE:
        tonight = _night_of_frames(paths)
        return Start(tonight.alignment, list(paths), tonight.folder, tonight, is_named=False)
    if not rest:
        raise InputError("give the frames that were taken since, after the result")
    return start_from(first, rest)


def start_from(result: Path, frames: Sequence[Path] = ()) -> Start:
    """Return what a kept result, a night's file or its folder gives to go on from.

    Parameters
    ----------
    result : pathlib.Path
    frames : sequence of pathlib.Path
        Taken since.
    """
    if result.name == NIGHT_FILE or result.is_dir():
        tonight = night_named(result)
        return Start(tonight.alignment, frames, tonight.folder, tonight, is_named=False)
    before = alignment.read_alignment(result)
    places = [folder for folder in (night.common_folder(frames), result.parent, Path()) if folder]
    return Start(before, frames, result, night.night_that_knows(before, places), is_named=True)


def _night_of_frames(frames: Sequence[Path]) -> night.Tonight:
    folder = night.common_folder(frames)
    found = (None if folder is None else night.tonight_in(folder)) or night_here()
    return found or night_named(folder or Path())
