"""Where the rig file is: named, else beside the frames, else in the current folder, else in the user's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from polarcheck.errors import InputError
from polarcheck.plain_file import read_plain_file
from polarcheck.printable import printable

__all__ = ["LARGEST_RIG_BYTES", "RIG_FILE", "FoundRig", "RigPlace", "configuration_folder", "find_rig"]

RigPlace = Literal["named", "beside the frames", "in the current folder", "in the configuration folder"]
"""Why a rig file is the one in use."""

RIG_FILE = "rig.toml"
"""Name of a rig file that is found without being named."""

LARGEST_RIG_BYTES = 1_000_000
"""Of a rig file that is read."""


def configuration_folder() -> Path:
    """Return the folder in which this user's settings for polarcheck belong; it need not exist."""
    from platformdirs import user_config_path

    return user_config_path("polarcheck", appauthor=False)


@dataclass(frozen=True, slots=True)
class FoundRig:
    """A rig file, and why it is the one.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    place : {"named", "beside the frames", "in the current folder", "in the configuration folder"}
        Where it was found.
    """

    path: Path
    place: RigPlace


def find_rig(option: Path | None, folders: Sequence[Path]) -> FoundRig | None:
    """Find the rig file.

    Parameters
    ----------
    option : pathlib.Path or None
        The file that was named; it is taken as it is, whether or not it exists.
    folders : sequence of pathlib.Path
        The folders of the frames or of the kept result.

    Returns
    -------
    FoundRig or None
        `option`, else a ``rig.toml`` in one of the folders, else in the current folder, else in the
        `configuration_folder`, else None.

    Raises
    ------
    InputError
        The folders hold rig files that differ.
    """
    if option is not None:
        return FoundRig(option, "named")
    beside = {path.resolve(): path for path in (folder / RIG_FILE for folder in folders) if _is_there(path)}
    if beside:
        return FoundRig(_agreed(list(beside.values())), "beside the frames")
    if _is_there(Path(RIG_FILE)):
        return FoundRig(Path(RIG_FILE), "in the current folder")
    own = configuration_folder() / RIG_FILE
    return FoundRig(own, "in the configuration folder") if _is_there(own) else None


def _is_there(path: Path) -> bool:
    """Whether a file is there; not where the folder may not be looked into."""
    try:
        return path.is_file()
    except OSError:
        return False


def _content(path: Path) -> bytes:
    return read_plain_file(path, LARGEST_RIG_BYTES, "a rig file")


def _agreed(paths: list[Path]) -> Path:
    first = paths[0]
    for other in paths[1:]:
        if _content(other) != _content(first):
            raise InputError(
                f"{printable(first)} and {printable(other)} differ; say which rig file holds", ["rig"]
            )
    return first
