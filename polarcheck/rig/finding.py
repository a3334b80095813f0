"""Where the rig file is: the one that was named, else beside the frames, else in the user's folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["RIG_FILE", "configuration_folder", "find_rig"]

RIG_FILE = "rig.toml"
"""Name of a rig file that is found without being named."""


def configuration_folder() -> Path:
    """Return the folder in which this user's settings for polarcheck belong; it need not exist."""
    from platformdirs import user_config_path

    return user_config_path("polarcheck", appauthor=False)


def find_rig(option: Path | None, folders: Sequence[Path]) -> Path | None:
    """Find the rig file.

    Parameters
    ----------
    option : pathlib.Path or None
        The file that was named; it is taken as it is, whether or not it exists.
    folders : sequence of pathlib.Path
        The frames' folders.

    Returns
    -------
    pathlib.Path or None
        `option`, else a ``rig.toml`` in one of the folders, else one in the `configuration_folder`, else None.

    Raises
    ------
    InputError
        The folders hold rig files that differ.
    """
    if option is not None:
        return option
    beside = {path.resolve(): path for path in (folder / RIG_FILE for folder in folders) if path.is_file()}
    if beside:
        return _agreed(list(beside.values()))
    own = configuration_folder() / RIG_FILE
    return own if own.is_file() else None


def _agreed(paths: list[Path]) -> Path:
    first = paths[0]
    for other in paths[1:]:
        if other.read_bytes() != first.read_bytes():
            raise InputError(
                f"{printable(first)} and {printable(other)} differ; say which rig file holds with --rig"
            )
    return first
