"""The night that is going on in a folder: how the mount stands by its file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from polarcheck.alignment import Alignment
from polarcheck.errors import InputError, Notice
from polarcheck.night.account import NightAccount, account_of
from polarcheck.night.log import NIGHT_FILE, NightLog
from polarcheck.printable import printable

__all__ = ["Tonight", "night_that_knows", "tonight_in"]


@dataclass(frozen=True, slots=True)
class Tonight:
    """The last night of a folder.

    Attributes
    ----------
    folder : pathlib.Path
        In which its file lies.
    account : NightAccount
        What it amounts to.
    notices : tuple of Notice
        Lines that could not be read.
    """

    folder: Path
    account: NightAccount
    notices: tuple[Notice, ...] = ()

    @property
    def alignment(self) -> Alignment:
        """How the mount stands.

        Raises
        ------
        InputError
            Nobody knows: nothing was found yet, or the mount was moved since.
        """
        if self.account.alignment is not None:
            return self.account.alignment
        name = printable(self.folder / NIGHT_FILE)
        if self.account.steps:
            raise InputError(f"{name}: the mount was moved since the last finding; measure it anew")
        raise InputError(f"{name}: holds no finding of the axis yet; measure a sweep first")


def tonight_in(folder: Path) -> Tonight | None:
    """Read the night of a folder.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    Tonight or None
        None where there is no night's file.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    log = NightLog(folder)
    if not log.path.exists():
        return None
    record = log.read()
    return Tonight(folder, account_of(record.events, folder), record.notices(printable(log.path.name)))


def night_that_knows(alignment: Alignment, folders: Iterable[Path]) -> Tonight | None:
    """Return the first night that found an alignment, so that what follows on it belongs there.

    Parameters
    ----------
    alignment : Alignment
        Measured or followed.
    folders : iterable of pathlib.Path
        Where to look, before the folder of the last used frame.
    """
    file = alignment.last_file
    places = [*folders, *(path.parent for path in (file.paths if file else ()))]
    for folder in dict.fromkeys(place.absolute() for place in places):
        try:
            found = tonight_in(folder)
        except InputError:
            continue
        if found is not None and found.account.knows(alignment):
            return found
    return None
