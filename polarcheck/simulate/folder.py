"""The folder of a simulation: only what an earlier simulation left in it gives way."""

from __future__ import annotations

import re
import stat
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.writing import NIGHT_FILE, is_leftover, is_ours

__all__ = ["TRUTH", "clear_others", "fresh_paths"]

TRUTH = "truth.json"
_NAME = re.compile(r"simulated_\d{2,5}\.fits\.fz", re.ASCII)
_MADE_BY_US = b"OBJECT  = 'simulated mount'"
_HEADERS_BYTES = 3 * 2880
_OF_THE_SYSTEM = frozenset({".ds_store", "thumbs.db", "desktop.ini"})


def fresh_paths(folder: Path, count: int) -> list[Path]:
    """Return names for the frames in `folder`, which is made if missing.

    Raises
    ------
    InputError
        The folder cannot be had, or holds what no simulation wrote: real frames must not mix with invented ones.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        others = sorted(path.name for path in folder.iterdir() if not _is_of_simulation(path))
    except OSError as error:
        raise InputError(
            f"{printable(folder)}: cannot be written ({printable(error.strerror or error)})"
        ) from error
    if others:
        more = f" and {len(others) - 1} more" if len(others) > 1 else ""
        raise InputError(
            f"{printable(folder)}: holds {printable(others[0], 60)}{more}, which no simulation wrote; nothing was "
            "touched. Name a new or an empty folder"
        )
    digits = max(2, len(str(count)))
    return [folder / f"simulated_{i + 1:0{digits}d}.fits.fz" for i in range(count)]


def clear_others(folder: Path, paths: Sequence[Path]) -> None:
    """Take away an earlier simulation's frames that have not been replaced."""
    names = {path.name for path in paths}
    for old in folder.iterdir():
        if old.name not in names and _NAME.fullmatch(old.name) and _is_of_simulation(old):
            with suppress(OSError):
                old.unlink()


def _is_of_simulation(path: Path) -> bool:
    if path.name.lower() in _OF_THE_SYSTEM or is_leftover(path.name):
        return True
    if not stat.S_ISREG(path.lstat().st_mode):
        return False
    if path.name in (TRUTH, NIGHT_FILE):  # a practice night's file stays
        return is_ours(path)
    if not _NAME.fullmatch(path.name):
        return False
    with path.open("rb") as stream:
        return _MADE_BY_US in stream.read(_HEADERS_BYTES)
