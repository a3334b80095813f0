"""Where a night is kept: the folder of its frames."""

from __future__ import annotations

import glob
from collections.abc import Sequence
from pathlib import Path

__all__ = ["common_folder"]


def common_folder(offered: Sequence[Path]) -> Path | None:
    """Return the folder in which all that was offered lies: itself, where it is one folder alone.

    Parameters
    ----------
    offered : sequence of pathlib.Path
        Folders, files and patterns.

    Returns
    -------
    pathlib.Path or None
        None where there are several.
    """
    if len(offered) == 1 and offered[0].is_dir():
        return offered[0]
    folders = {folder.absolute(): folder for path in offered for folder in _parents(path)}
    return next(iter(folders.values())) if len(folders) == 1 else None


def _parents(path: Path) -> list[Path]:
    if not glob.has_magic(str(path.parent)):
        return [path.parent]
    return [Path(folder) for folder in glob.glob(str(path.parent))]  # noqa: PTH207 - may be absolute
