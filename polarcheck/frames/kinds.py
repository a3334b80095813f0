"""What kind of image a file is: FITS, a picture (JPEG, PNG, TIFF), or what a camera calls raw."""

from __future__ import annotations

import stat
from enum import Enum
from pathlib import Path

__all__ = ["PICTURE_ENDINGS", "RAW_ENDINGS", "Kind", "is_picture_name", "is_raw_name", "kind_of"]

PICTURE_ENDINGS = ("tiff", "tif", "png", "jpeg", "jpg")
"""Of pictures; what keeps more of the light comes first."""

RAW_ENDINGS = (
    "dng", "3fr", "ari", "arw", "bay", "cap", "cr2", "cr3", "crw", "cs1", "dc2", "dcr", "dcs",
    "drf", "erf", "fff", "gpr", "iiq", "k25", "kc2", "kdc", "mdc", "mef", "mos", "mrw", "nef",
    "nrw", "orf", "ori", "pef", "ptx", "pxn", "qtk", "raf", "raw", "rdc", "rw2", "rwl", "rwz",
    "sr2", "srf", "srw", "sti", "x3f",
)  # fmt: skip
"""Of cameras' raw files that LibRaw 0.21 reads (its list of cameras, from memory)."""

_PICTURE_BEGINS = (
    b"\xff\xd8\xff",  # JPEG: start of image and the next marker (ITU-T T.81, B.1.1.3; from memory)
    b"\x89PNG\r\n\x1a\n",  # PNG, third edition, section 5.2 (from memory)
    b"II*\0",  # TIFF 6.0, section 2, and BigTIFF (from memory)
    b"MM\0*",
    b"II+\0",
    b"MM\0+",
)
_FITS_BEGINS = (b"SIMPLE", b"\x1f\x8b")


class Kind(Enum):
    """How a file is read."""

    FITS = "FITS"
    PICTURE = "picture"
    RAW = "raw"


def kind_of(path: Path) -> Kind:
    """Tell how to read a file: by what it begins with, and where that is no answer by its name.

    What cannot be opened counts as FITS, whose reader says what is wrong with it.
    """
    begin = _begin(path)
    if not begin or begin.startswith(_FITS_BEGINS):
        return Kind.FITS
    if is_raw_name(path.name):
        return Kind.RAW
    if begin.startswith(_PICTURE_BEGINS) or is_picture_name(path.name):
        return Kind.PICTURE
    return Kind.FITS


def is_raw_name(name: str) -> bool:
    """Return whether a name ends like a camera's raw file."""
    return _ending(name) in RAW_ENDINGS


def is_picture_name(name: str) -> bool:
    """Return whether a name ends like a picture."""
    return _ending(name) in PICTURE_ENDINGS


def _ending(name: str) -> str:
    return name.rpartition(".")[2].lower()


def _begin(path: Path) -> bytes:
    try:
        if not stat.S_ISREG(path.stat().st_mode):  # a pipe would keep one waiting
            return b""
        with path.open("rb") as file:
            return file.read(8)
    except OSError:
        return b""
