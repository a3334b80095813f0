"""Pictures and raw files for tests, down to the bytes: TIFF, DNG and EXIF blocks by the tables of their standards.

Sources: TIFF 6.0, sections 2 and 8; DNG 1.4, chapters 2 and 4 (both from memory); CIPA DC-008 (Exif) for tag numbers.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 1, 2, 3, 4, 5, 7, 10
_CODES = {BYTE: "B", SHORT: "H", LONG: "I"}

Entry = tuple[int, Any]
"""Type of a field and its values."""

EXIF_IFD, GPS_IFD = 0x8769, 0x8825

EXIF: dict[int, Entry] = {
    0x829A: (RATIONAL, [Fraction(4)]),
    0x9003: (ASCII, "2026:11:14 22:09:58"),
    0x920A: (RATIONAL, [Fraction(250)]),
}
"""4 s of exposure with 250 mm of focal length, begun when a camera's clock showed this."""

PLACE: dict[int, Entry] = {
    1: (ASCII, "N"),
    2: (RATIONAL, [Fraction(47), Fraction(18), Fraction(0)]),
    3: (ASCII, "E"),
    4: (RATIONAL, [Fraction(11), Fraction(12), Fraction(0)]),
    5: (BYTE, [0]),
    6: (RATIONAL, [Fraction(900)]),
}
"""47.3 deg north, 11.2 deg east, 900 m."""


def payload(kind: int, values: Any) -> tuple[int, bytes]:
    """Number of values and their bytes, little-endian."""
    if kind == ASCII:
        data = values if isinstance(values, bytes) else values.encode("latin-1") + b"\0"
        return len(data), data
    if kind == UNDEFINED:
        return len(values), values
    if kind in (RATIONAL, SRATIONAL):
        pairs = [(v.numerator, v.denominator) if isinstance(v, Fraction) else v for v in values]
        return len(pairs), b"".join(
            struct.pack("<ii" if kind == SRATIONAL else "<II", *pair) for pair in pairs
        )
    return len(values), struct.pack(f"<{len(values)}{_CODES[kind]}", *values)


def ifd(entries: Mapping[int, Entry], at: int, following: int = 0) -> bytes:
    """An image file directory that begins at a place of the file, with its values behind it."""
    head = struct.pack("<H", len(entries))
    behind = b""
    after = at + 2 + 12 * len(entries) + 4
    for tag, (kind, values) in sorted(entries.items()):
        count, data = payload(kind, values)
        if len(data) <= 4:
            head += struct.pack("<HHI", tag, kind, count) + data.ljust(4, b"\0")
        else:
            head += struct.pack("<HHII", tag, kind, count, after + len(behind))
            behind += data + b"\0" * (len(data) % 2)
    return head + struct.pack("<I", following) + behind


def tiff(
    entries: Mapping[int, Entry],
    exif: Mapping[int, Entry] | None = None,
    gps: Mapping[int, Entry] | None = None,
    pixels: bytes = b"",
    stands: tuple[int, int] = (273, 279),
) -> bytes:
    """A little-endian TIFF: one directory, its EXIF and GPS directories, and one strip of pixels at the end.

    `stands` are the tags that say where the pixels begin and how many bytes they are.
    """
    whole = dict(entries)
    if pixels:
        whole |= {stands[0]: (LONG, [0]), stands[1]: (LONG, [len(pixels)])}
    inner = {tag: part for tag, part in ((EXIF_IFD, exif), (GPS_IFD, gps)) if part is not None}
    whole |= dict.fromkeys(inner, (LONG, [0]))
    at = 8 + len(ifd(whole, 8))  # places do not change how long a directory is
    parts = b""
    for tag, part in inner.items():
        whole[tag] = (LONG, [at + len(parts)])
        parts += ifd(part, at + len(parts))
    if pixels:
        whole[stands[0]] = (LONG, [at + len(parts)])
    return b"II*\0" + struct.pack("<I", 8) + ifd(whole, 8) + parts + pixels


def exif_block(
    exif: Mapping[int, Entry] | None = None, gps: Mapping[int, Entry] | None = None, **more: Any
) -> bytes:
    """What a JPEG or PNG carries; `more` as `tag_NUMBER` for the first directory."""
    first = {int(name.removeprefix("tag_")): entry for name, entry in more.items()}
    return tiff(first, EXIF if exif is None else exif, gps)


def write_grey_tiff(path: Path, counts: npt.NDArray[np.uint16], **more: Any) -> Path:
    """An uncompressed TIFF of 16 bits with EXIF."""
    height, width = counts.shape
    entries: dict[int, Entry] = {
        256: (LONG, [width]), 257: (LONG, [height]), 258: (SHORT, [16]), 259: (SHORT, [1]), 262: (SHORT, [1]),
        277: (SHORT, [1]), 278: (LONG, [height]),
    }  # fmt: skip
    path.write_bytes(tiff(entries, more.get("exif", EXIF), more.get("gps"), counts.astype("<u2").tobytes()))
    return path


def write_colour_tiff(path: Path, counts: npt.NDArray[np.uint16], planar: int = 1) -> Path:
    """An uncompressed TIFF of three colours of 16 bits, shape (h, w, 3)."""
    height, width = counts.shape[:2]
    entries: dict[int, Entry] = {
        256: (LONG, [width]), 257: (LONG, [height]), 258: (SHORT, [16, 16, 16]), 259: (SHORT, [1]),
        262: (SHORT, [2]), 277: (SHORT, [3]), 278: (LONG, [height]), 284: (SHORT, [planar]),
    }  # fmt: skip
    path.write_bytes(tiff(entries, EXIF, None, counts.astype("<u2").tobytes()))
    return path


def write_png(path: Path, counts: npt.NDArray[np.uint16], exif: bytes | None = None) -> Path:
    """A PNG of 16 bits, grey (h, w) or in colour (h, w, 3)."""
    height, width = counts.shape[:2]
    rows = counts.reshape(height, -1).astype(">u2")
    head = struct.pack(">IIBBBBB", width, height, 16, 2 if counts.ndim == 3 else 0, 0, 0, 0)
    packed = zlib.compress(b"".join(b"\0" + row.tobytes() for row in rows))
    parts = [(b"IHDR", head), *([(b"eXIf", exif)] if exif else []), (b"IDAT", packed), (b"IEND", b"")]
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in parts))
    return path


def chunk(name: bytes, data: bytes) -> bytes:
    """A chunk of a PNG with its checksum."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def write_dng(
    path: Path,
    counts: npt.NDArray[np.uint16],
    *,
    pattern: bytes = b"\0\1\1\2",
    margins: tuple[int, int] = (0, 0),
    exif: Mapping[int, Entry] | None = None,
    gps: Mapping[int, Entry] | None = None,
    orientation: int = 1,
) -> Path:
    """A DNG of one colour mosaic, shape (h, w); `margins` are masked rows and columns before the visible ones.

    The camera is nobody's; 0, 1, 2 in `pattern` are red, green, blue.
    """
    height, width = counts.shape
    top, left = margins
    entries: dict[int, Entry] = {
        254: (LONG, [0]), 256: (LONG, [width]), 257: (LONG, [height]), 258: (SHORT, [16]), 259: (SHORT, [1]),
        262: (SHORT, [32803]), 271: (ASCII, "Invented"), 272: (ASCII, "Camera"), 274: (SHORT, [orientation]),
        277: (SHORT, [1]), 278: (LONG, [height]), 284: (SHORT, [1]), 33421: (SHORT, [2, 2]), 33422: (BYTE, list(pattern)),
        50706: (BYTE, [1, 4, 0, 0]), 50707: (BYTE, [1, 1, 0, 0]), 50708: (ASCII, "Invented Camera"),
        50714: (SHORT, [500]), 50717: (LONG, [60000]),
        50721: (SRATIONAL, [Fraction(int(i == j)) for i in range(3) for j in range(3)]),
        50728: (RATIONAL, [Fraction(1)] * 3), 50778: (SHORT, [21]),
        50829: (LONG, [top, left, height, width]),
    }  # fmt: skip
    path.write_bytes(tiff(entries, EXIF if exif is None else exif, gps, counts.astype("<u2").tobytes()))
    return path
