"""From what was typed to a list of files: folders, files and patterns."""

from __future__ import annotations

import glob
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.frames.companions import solution_beside
from polarcheck.frames.kinds import is_picture_name, is_raw_name
from polarcheck.printable import printable

__all__ = ["Offer", "find_frames", "is_frame_name", "natural_key", "offers"]

_ENDING = re.compile(r"\.(?:(?:fits|fit|fts)(?:\.gz|\.fz)?|fz|new|wcs)\Z", re.IGNORECASE)
_ENDINGS_SAID = (
    ".fits, .fit, .fts (also with .gz or .fz), .fz, .new, .wcs; .jpg, .tif, .png; cameras' raw files"
)
_MOST_FOLDERS_LOOKED_INTO = 1000
_SOLUTIONS = (".wcs", ".new")  # which pictures have, too


@dataclass(frozen=True, slots=True)
class Offer:
    """A file that was offered, and how to name it.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    name, folder : str
        Printable, relative to the offered folder.
    """

    path: Path
    name: str
    folder: str


def is_frame_name(name: str) -> bool:
    """Return whether a file's name has one of the endings of frames and is not hidden."""
    return not name.startswith(".") and (
        _ENDING.search(name) is not None or is_picture_name(name) or is_raw_name(name)
    )


def natural_key(text: str) -> list[tuple[int, int, str]]:
    """Return a sort key that puts frame 9 before frame 10."""
    pieces = re.split(r"(\d+)", text.casefold())
    return [(0, int(piece), "") if piece.isdecimal() else (1, 0, piece) for piece in pieces]


def find_frames(paths: Sequence[Path], recursive: bool = False) -> list[Path]:
    """List the files that are offered as frames.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        Folders, files, and patterns such as ``night/*.fits`` (some shells do not expand them). A
        file that is named itself is listed whatever its ending. Of a folder that holds FITS or raw files, pictures are
        left out, as previews and drawings, unless a solution lies beside them.
    recursive : bool
        Whether to look into subfolders too.

    Returns
    -------
    list of pathlib.Path
        In natural order, without duplicates; hidden files are left out.

    Raises
    ------
    InputError
        Nothing is there, or a folder holds no frame.
    """
    return [offer.path for offer in offers(paths, recursive)]


def offers(paths: Sequence[Path], recursive: bool = False) -> list[Offer]:
    """List the offered files with their names; see `find_frames`."""
    found: dict[str, tuple[Path, Path]] = {}
    for path in paths:
        for base, file in _expand(Path(path), recursive, alone=len(paths) == 1):
            found.setdefault(os.path.normcase(file.absolute()), (base, file))
    named = [_offer(base, file) for base, file in found.values()]
    if len({offer.name for offer in named}) < len(named):  # equal names in several folders
        named = [_offer(base.parent, file) for base, file in found.values()]
    return sorted(named, key=lambda offer: natural_key(str(offer.path)))


def _offer(base: Path, file: Path) -> Offer:
    try:
        relative = file.relative_to(base)
    except ValueError:
        relative = Path(file.name)
    folder = "" if relative.parent == Path() else printable(relative.parent.as_posix())
    return Offer(file, printable(relative.as_posix()), folder)


def _expand(path: Path, recursive: bool, alone: bool) -> Iterator[tuple[Path, Path]]:
    if path.is_dir():
        files = list(_frames_in(path, recursive))
        if not files and (alone or not is_frame_name(path.name)):
            raise _nothing_in(path, recursive)
        # an empty folder called x.fits, which a shell's *.fits brings along, is told of like any bad file
        yield from ((path, file) for file in files) if files else [(path.parent, path)]
    elif path.exists() or path.is_symlink():
        yield path.parent, path
    elif any(mark in str(path) for mark in "*?["):
        yield from _matches(path, recursive)
    else:
        raise InputError(f"there is no file or folder '{printable(path)}'")


def _matches(pattern: Path, recursive: bool) -> Iterator[tuple[Path, Path]]:
    matches = [Path(match) for match in glob.glob(str(pattern), recursive=True)]  # noqa: PTH207 -- takes absolute patterns
    files = [match for match in matches if match.is_file() and is_frame_name(match.name)]
    files += [file for match in matches if match.is_dir() for file in _frames_in(match, recursive)]
    if not files:
        raise InputError(f"no frame matches '{printable(pattern)}' (endings: {_ENDINGS_SAID})")
    plain = Path(*[part for part in pattern.parts[:-1] if not glob.has_magic(part)])
    yield from ((plain, file) for file in files)


def _frames_in(folder: Path, recursive: bool) -> Iterator[Path]:
    for place, subfolders, files in os.walk(folder, onerror=_cannot_list):
        subfolders[:] = sorted(name for name in subfolders if recursive and not name.startswith("."))
        frames = [name for name in files if is_frame_name(name)]
        has_better = any(
            not is_picture_name(name) and not name.lower().endswith(_SOLUTIONS) for name in frames
        )
        for name in frames:
            file = Path(place) / name
            # among FITS or raw files a picture is a preview or a drawing, unless it is solved itself
            if not (has_better and is_picture_name(name)) or solution_beside(file) is not None:
                yield file


def _cannot_list(error: OSError) -> None:
    raise InputError(f"cannot list folder '{printable(error.filename)}': {error.strerror}") from error


def _nothing_in(folder: Path, recursive: bool) -> InputError:
    text = f"folder '{printable(folder)}' holds no frame (endings: {_ENDINGS_SAID})"
    if not recursive:
        walk = islice(os.walk(folder), _MOST_FOLDERS_LOOKED_INTO)
        if any(is_frame_name(name) for _, _, files in walk for name in files):
            return InputError(f"{text}; its subfolders do: let them be looked into", ["recursive"])
    return InputError(text)
