"""The index files of a solver: where they lie, which sizes of star pattern they hold, which of them a field needs."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from polarcheck.constants import ARCMIN

__all__ = ["IndexFile", "find_index_files", "missing_sizes", "useful", "usual_index_folders"]

_NAME = re.compile(r"index-.*\.fits\Z", re.IGNORECASE)
_SIZE_CARD = re.compile(rb"(SCALE_[LU])\s*=\s*([0-9.Ee+-]+)")
_HEADER_BYTES = 28_800
_MOST_FILES = 2_000
_PATTERN = (0.15, 0.85)
"""Patterns of these parts of the field's height are the ones that are found in it."""


@dataclass(frozen=True, slots=True)
class IndexFile:
    """One index file.

    Attributes
    ----------
    path : pathlib.Path
    sizes_arcmin : tuple of float
        Least and greatest size of its star patterns. [arcmin]
    """

    path: Path
    sizes_arcmin: tuple[float, float]


def usual_index_folders() -> tuple[Path, ...]:
    """Return where packages of index files put them.

    Returns
    -------
    tuple of pathlib.Path
        Those that exist.
    """
    places = ["/usr/share/astrometry", "/usr/local/share/astrometry", "/usr/local/astrometry/data"]
    places += ["/opt/homebrew/share/astrometry", "/opt/local/share/astrometry"]
    local = os.environ.get("LOCALAPPDATA")
    own = [Path.home() / ".local" / "share" / "astrometry", *([Path(local) / "astrometry"] if local else [])]
    return tuple(path for path in [*map(Path, places), *own] if path.is_dir())


def find_index_files(folders: Iterable[Path]) -> tuple[IndexFile, ...]:
    """List the index files of folders.

    Parameters
    ----------
    folders : iterable of pathlib.Path

    Returns
    -------
    tuple of IndexFile
        The smallest patterns first; what is no index file is passed over.
    """
    found: dict[str, IndexFile] = {}
    for folder in folders:
        for path in _files_in(folder):
            sizes = _sizes(path)
            if sizes is not None:
                found.setdefault(path.name, IndexFile(path, sizes))
    return tuple(sorted(found.values(), key=lambda index: (index.sizes_arcmin, index.path.name)))


def _files_in(folder: Path) -> list[Path]:
    try:
        names = sorted(name for name in os.listdir(folder) if _NAME.match(name))  # noqa: PTH208 - one bad entry costs none
    except OSError:
        return []
    return [folder.absolute() / name for name in names[:_MOST_FILES]]


def _sizes(path: Path) -> tuple[float, float] | None:
    """What the cards SCALE_L and SCALE_U of an index file's header say, in radians."""
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEADER_BYTES)
    except OSError:
        return None
    cards = (head[i : i + 80] for i in range(0, len(head), 80))
    said = {m[1]: float(m[2]) for m in map(_SIZE_CARD.match, cards) if m and _is_number(m[2])}
    if not head.startswith(b"SIMPLE") or set(said) != {b"SCALE_L", b"SCALE_U"}:
        return None
    return said[b"SCALE_L"] / ARCMIN, said[b"SCALE_U"] / ARCMIN


def _is_number(text: bytes) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def useful(
    files: Sequence[IndexFile], scale_arcsec: tuple[float, float], size_px: tuple[int, int]
) -> tuple[IndexFile, ...]:
    """Return the index files whose patterns fit into a field.

    Parameters
    ----------
    files : sequence of IndexFile
    scale_arcsec : tuple of float
        Least and greatest pixel scale. [arcsec/px]
    size_px : tuple of int
        Width and height of the image. [px]

    Returns
    -------
    tuple of IndexFile
    """
    diagonal = scale_arcsec[1] * (size_px[0] ** 2 + size_px[1] ** 2) ** 0.5 / 60
    least = scale_arcsec[0] * min(size_px) / 60 * 0.1
    return tuple(
        index for index in files if index.sizes_arcmin[0] < diagonal and index.sizes_arcmin[1] > least
    )


def missing_sizes(
    files: Sequence[IndexFile], scale_arcsec: tuple[float, float], size_px: tuple[int, int]
) -> tuple[float, float] | None:
    """Return which sizes of star pattern a field needs and no index file holds.

    Parameters
    ----------
    files : sequence of IndexFile
    scale_arcsec : tuple of float
        Least and greatest pixel scale. [arcsec/px]
    size_px : tuple of int
        Width and height of the image. [px]

    Returns
    -------
    tuple of float or None
        Least and greatest size, about; None where half of them or more are there. [arcmin]
    """
    scale = (scale_arcsec[0] * scale_arcsec[1]) ** 0.5
    least, most = (part * scale * min(size_px) / 60 for part in _PATTERN)
    steps = [least * (most / least) ** (i / 40) for i in range(41)]
    held = [any(low <= size <= high for low, high in (f.sizes_arcmin for f in files)) for size in steps]
    return None if sum(held) * 2 >= len(held) else (least, most)
