"""Where the rig file is: named, else beside the frames, else in the current folder, else in the user's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["RIG_FILE", "FoundRig", "RigPlace", "configuration_folder", "find_rig"]

RigPlace = Literal["named", "beside the frames", "in the current folder", "in the configuration folder"]
"""Why a rig file is the one in use."""

RIG_FILE = "rig.toml"
"""Name of a rig file that is found without being named."""


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
    beside = {path.resolve(): path for path in (folder / RIG_FILE for folder in folders) if path.is_file()}
    if beside:
        return FoundRig(_agreed(list(beside.values())), "beside the frames")
    if Path(RIG_FILE).is_file():
        return FoundRig(Path(RIG_FILE), "in the current folder")
    own = configuration_folder() / RIG_FILE
    return FoundRig(own, "in the configuration folder") if own.is_file() else None


def _agreed(paths: list[Path]) -> Path:
    first = paths[0]
    for other in paths[1:]:
        if other.read_bytes() != first.read_bytes():
            raise InputError(
                f"{printable(first)} and {printable(other)} differ; say which rig file holds", ["rig"]
            )
    return first
