"""Which files belong together: an image, the header-only solution beside it, its solved copy, the same as a picture."""

from __future__ import annotations

import os
import re
from pathlib import Path

from polarcheck.frames.kinds import PICTURE_ENDINGS, RAW_ENDINGS

__all__ = [
    "image_beside",
    "is_header_only",
    "is_solved_copy",
    "solution_beside",
    "solved_copy_beside",
    "stem_of",
    "worth",
]

_COMPRESSED = re.compile(r"\.(?:gz|fz)\Z", re.IGNORECASE)
_FITS_ENDINGS = ("fits", "fit", "fts")
_OTHER_ENDINGS = (*RAW_ENDINGS, *PICTURE_ENDINGS)  # in the order of what they keep of the light
_IMAGE = re.compile(rf"\.(?:{'|'.join((*_FITS_ENDINGS, *_OTHER_ENDINGS))})\Z", re.IGNORECASE)
_SOLVED = re.compile(r"\.(?:new|wcs)\Z", re.IGNORECASE)
_IMAGE_ENDINGS = (
    *(f".{ending}{more}" for ending in _FITS_ENDINGS for more in ("", ".gz", ".fz")),
    *(f".{ending}" for ending in _OTHER_ENDINGS),
)


def is_header_only(path: Path) -> bool:
    """Return whether the name is that of a solver's header-only file, X.wcs."""
    return path.suffix.lower() == ".wcs"


def is_solved_copy(path: Path) -> bool:
    """Return whether the name is that of a solver's solved copy of an image, X.new."""
    return path.suffix.lower() == ".new"


def stem_of(name: str) -> str:
    """Return the stem of a file's name, the same for X.fits, X.fit.gz, X.jpg, X.new, X.wcs and X.fits.wcs."""
    return os.path.normcase(_IMAGE.sub("", _COMPRESSED.sub("", _SOLVED.sub("", name))))


def worth(path: Path) -> int:
    """Return a rank among images of one stem: FITS before raw files before pictures, and of these TIFF first."""
    ending = path.suffix.lower().removeprefix(".")
    return 1 + _OTHER_ENDINGS.index(ending) if ending in _OTHER_ENDINGS else 0


def solution_beside(image: Path) -> Path | None:
    """Return the header-only solution beside an image on the disk, if any.

    A solved copy of a picture or a raw file is no more than its solution: solvers leave EXIF's time out of it.
    """
    bare = _COMPRESSED.sub("", image.name)
    for stem in (_IMAGE.sub("", bare), bare):
        for ending in (".wcs", ".WCS", *([".new"] if worth(image) else [])):
            candidate = image.with_name(stem + ending)
            if candidate.is_file():
                return candidate
    return None


def solved_copy_beside(image: Path) -> Path | None:
    """Return the solved copy beside an image on the disk, if any."""
    candidate = image.with_name(_IMAGE.sub("", _COMPRESSED.sub("", image.name)) + ".new")
    return candidate if candidate != image and candidate.is_file() else None


def image_beside(solution: Path) -> Path | None:
    """Return the image beside a header-only solution on the disk, if any; a solved copy first."""
    stem = _SOLVED.sub("", solution.name)
    bare = [stem, f"{stem}.gz", f"{stem}.fz"] if _IMAGE.search(stem) else []
    base = _IMAGE.sub("", stem)
    names = [*bare, *(base + ending for ending in _IMAGE_ENDINGS), f"{base}.fz"]
    copy, image = _first(solution, base, [f"{base}.new"]), _first(solution, base, names)
    return copy if copy is not None and (image is None or not worth(image)) else image


def _first(beside: Path, base: str, names: list[str]) -> Path | None:
    for name in dict.fromkeys(names):
        for spelled in (name, base + name[len(base) :].upper()):
            if (candidate := beside.with_name(spelled)).is_file():
                return candidate
    return None
