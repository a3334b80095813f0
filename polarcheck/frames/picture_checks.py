"""Whether a picture can be read at all: not too large, whole, and what it claims to be."""

from __future__ import annotations

from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from polarcheck.frames.cards import NotWholeError, UnusableError
from polarcheck.printable import printable

__all__ = ["MOST_PIXELS", "check_size", "check_whole", "unknown"]

MOST_PIXELS = 152_000_000
"""Of a picture or a raw file: more than any camera of today; in colour it takes 4 bytes a pixel and its luminance 4."""

_TAIL = 1 << 16
_STRIPS = ((273, 279), (324, 325))  # where strips or tiles begin, and their bytes (TIFF 6.0; from memory)
_PNG_END = b"IEND\xaeB`\x82"  # the last chunk and its checksum
_JPEG_END, _JPEG_SCAN = b"\xff\xd9", 0xDA
_BROKEN_OFF = "is not whole yet: still being written, or the copy broke off; wait or copy it again"


def check_size(width: int, height: int) -> None:
    """Refuse by what its header declares an image that would not fit into the memory of a small machine.

    Raises
    ------
    UnusableError
    """
    if width * height > MOST_PIXELS:
        most = MOST_PIXELS // 1_000_000
        raise UnusableError(
            f"its image is too large: {width} x {height} px; at most {most} million pixels are read"
        )


def check_whole(image: Any, path: Path) -> None:
    """Refuse a picture whose end is missing.

    Raises
    ------
    UnusableError
    """
    if image.format == "TIFF":
        is_whole = _last_byte(image.tag_v2) <= path.stat().st_size
    else:
        with path.open("rb") as file:
            is_whole = _png_ends(file) if image.format == "PNG" else _jpeg_ends(file)
    if not is_whole:
        raise NotWholeError(_BROKEN_OFF)


def unknown(path: Path) -> str:
    """Return what to say of a file that Pillow does not know."""
    with path.open("rb") as file:
        begin = file.read(20)
    what = "zero bytes" if not begin.strip(b"\0") else f"'{printable(begin.decode('latin-1'))}'"
    return f"cannot be read as JPEG, PNG or TIFF: damaged, not whole, or of a kind that is not read (it begins with {what})"


def _last_byte(tags: Any) -> float:
    last = 0.0
    for begin, count in _STRIPS:
        begins, counts = (np.atleast_1d(np.array(tags.get(tag, ()), float)) for tag in (begin, count))
        if len(begins) and len(begins) == len(counts):
            last = max(last, float((begins + counts).max()))
    return last


def _png_ends(file: BinaryIO) -> bool:
    file.seek(max(0, file.seek(0, 2) - _TAIL))
    return _PNG_END in file.read()


def _jpeg_ends(file: BinaryIO) -> bool:
    """Whether the end of image comes after its pixels; cameras put previews before them and more behind."""
    size = file.seek(0, 2)
    scan = _scan(file)
    file.seek(max(scan, size - _TAIL))
    if _JPEG_END in file.read():
        return True
    file.seek(scan)
    return _JPEG_END in file.read()


def _scan(file: BinaryIO) -> int:
    """Where the pixels begin, behind the segments with their stated lengths (ITU-T T.81, annex B; from memory)."""
    at = 2
    while True:
        file.seek(at)
        marker = file.read(4)
        if len(marker) < 4 or marker[0] != 0xFF or marker[1] == _JPEG_SCAN:
            return at
        at += 1 if marker[1] == 0xFF else 2 + int.from_bytes(marker[2:], "big")
