"""Walk the headers of a FITS file without touching its data, and see whether the file is whole.

Only cards that say something about the image's size, its solution, its time or its place are parsed
(by astropy); a walk ends after `MOST_HDUS` headers or `MOST_CARDS` cards, so that a damaged file
costs no more than a sound one.
"""

from __future__ import annotations

import gzip
import math
import os
import re
import stat
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from polarcheck.errors import Notice
from polarcheck.frames.cards import Cards, NotWholeError, UnusableError
from polarcheck.frames.written_numbers import numeric_card
from polarcheck.printable import printable

__all__ = ["MOST_CARDS", "MOST_HDUS", "Hdu", "walk"]

MOST_HDUS = 100
"""Headers that are looked at in one file."""

MOST_CARDS = 20_000
"""Cards that are looked at in one file (1.6 MB)."""

MOST_BYTES_UNPACKED = 2_000_000_000
"""Of a file that is compressed as a whole; more would keep one waiting."""

_BLOCK = 2880
_CARD = 80
_WRITING = "still being written, or the copy broke off; wait or copy it again"

# astropy.wcs encodes cards as ASCII; an accent in a comment must not cost a frame
_PLAIN_ASCII = bytes(
    code if chr(code).isascii() and chr(code).isprintable() else ord("?") for code in range(256)
)

_WCS_CARD = re.compile(
    rb"(?:(?:CTYPE|CUNIT|CRPIX|CRVAL|CDELT|CROTA)[12]|(?:CD|PC)[12]_[12]|(?:CD|PC)00[12]00[12]"
    rb"|PV[12]_\d{1,3}|LONPOLE|LATPOLE|RADESYS|RADECSYS|EQUINOX|EPOCH"
    rb"|(?:A|B|AP|BP)_(?:ORDER|\d{1,2}_\d{1,2}))\Z"
)
_WORDS = re.compile(r"CTYPE|CUNIT|RADE")
_OTHER_CARD = re.compile(
    rb"(?:SIMPLE|XTENSION|Z?BITPIX|Z?NAXIS\d{0,3}|PCOUNT|GCOUNT|ZIMAGE|IMAGE[WH]|CTYPE[3-9]"
    rb"|CPDIS[12]|CQDIS[12]|D2IMDIS[12]|AXISCORR"
    rb"|DATE-(?:OBS|BEG|AVG|END)|MJD-(?:OBS|BEG|AVG)|JD-OBS|M?JD|TIMESYS"
    rb"|TIME-OBS|UT|UTC|UTC?-OBS|UTC?START|UT-START|TELAPSE|XPOSURE|EXPOSURE|EXPTIME|EXP|EXPOINUS"
    rb"|OBSGEO-[XYZBLH]|(?:SITE|OBS|GEO)-?(?:LAT|LON|LONG|ALT|ELE|ELEV|HEI)"
    rb"|(?:LAT|LONG|LON|ALT|ELEV)-OBS|LATITUDE|LONGITUD|ALTITUDE"
    rb"|LST|LST-OBS|SIDEREAL|SIDTIME|ST|HA|OBJCTHA|HOURANG|(?:OBJCT|CENT|TEL)(?:ALT|AZ)|ALT|AZ|AZIMUTH"
    rb"|BAYERPAT|COLORTYP|[XY]BAYROFF|XBINNING|SATURATE|DATAMAX"
    rb"|FOCALLEN|XPIXSZ|PIXSIZE1?|PIXSCALE|SECPIX|SCALE|RA|DEC|OBJCTRA|OBJCTDEC)\Z"
)


@dataclass(frozen=True, slots=True)
class Hdu:
    """One header and data unit.

    Attributes
    ----------
    index : int
        Its number in the file, 0 for the primary one.
    is_image : bool
        Whether it holds an image, plain or tile-compressed.
    shape : tuple of int
        Size of the image as NAXIS1, NAXIS2, ...; empty without one. [px]
    header : dict of str to bytes
        Cards about size, time and place, as `Cards` takes them; of repeated ones the first.
    wcs_header : dict of str to bytes
        Cards about the solution.
    notices : tuple of Notice
        What is doubtful about what the file says.
    """

    index: int
    is_image: bool
    shape: tuple[int, ...]
    header: dict[str, bytes]
    wcs_header: dict[str, bytes]
    notices: tuple[Notice, ...] = ()


def walk(path: Path) -> Iterator[Hdu]:
    """Yield the file's HDUs, each only when the file holds all of its promised bytes.

    Parameters
    ----------
    path : pathlib.Path
        A FITS file, also compressed as a whole by gzip, whatever its ending.

    Yields
    ------
    Hdu

    Raises
    ------
    UnusableError
        Not readable, no FITS file, not whole yet, or damaged.
    """
    try:
        with _opened(path) as (stream, size):
            yield from _walk(stream, size)
    except (EOFError, zlib.error, gzip.BadGzipFile):
        raise NotWholeError(f"is not whole yet: its compressed bytes break off; {_WRITING}") from None
    except OSError as error:
        why = error.strerror or type(error).__name__
        raise UnusableError(f"cannot be opened: {printable(why).lower()}") from error


@contextmanager
def _opened(path: Path) -> Iterator[tuple[IO[bytes], int]]:
    if not stat.S_ISREG(path.stat().st_mode):
        raise UnusableError("is a folder or a device, not a file")
    with path.open("rb") as raw:
        size = os.fstat(raw.fileno()).st_size
        if size == 0:
            raise NotWholeError(f"is empty (0 bytes): {_WRITING}")
        magic = raw.read(2)
        raw.seek(0)
        if magic != b"\x1f\x8b":
            yield raw, size
            return
        size = _size_in_gzip(raw, size)
        with gzip.GzipFile(fileobj=raw) as stream:
            yield stream, size  # type: ignore[misc]


def _size_in_gzip(raw: IO[bytes], compressed_size: int) -> int:
    """Return the uncompressed size, from gzip's last four bytes where they can be that."""
    if compressed_size >= 18:
        raw.seek(-4, os.SEEK_END)
        size = int.from_bytes(raw.read(4), "little")
        raw.seek(0)
        # a FITS file is a multiple of 2880; the tail of a broken stream seldom is
        if size and size % _BLOCK == 0:
            return size
    size = 0
    with gzip.GzipFile(fileobj=raw) as stream:
        while piece := stream.read(1 << 20):
            size += len(piece)
            if size > MOST_BYTES_UNPACKED:
                raise UnusableError(
                    f"unpacks to more than {MOST_BYTES_UNPACKED / 1e9:.0f} GB, which is not read"
                )
    raw.seek(0)
    return size


def _walk(stream: IO[bytes], size: int) -> Iterator[Hdu]:
    offset, cards_left = 0, MOST_CARDS
    for index in range(MOST_HDUS):
        if offset >= size:
            return
        stream.seek(offset)
        raw = _header_bytes(stream, index, size, cards_left)
        if raw is None:
            return
        cards_left -= len(raw) // _CARD
        hdu, data_bytes = _hdu(index, raw)
        data_start = offset + _padded(len(raw) + _CARD)
        if data_start + data_bytes > size:
            raise NotWholeError(f"is not whole yet: {size} of {data_start + data_bytes} bytes; {_WRITING}")
        yield hdu
        offset = data_start + _padded(data_bytes)


def _padded(count: int) -> int:
    return -(-count // _BLOCK) * _BLOCK


def _header_bytes(stream: IO[bytes], index: int, size: int, cards_left: int) -> bytes | None:
    """Return the header up to its END card, or None where no further HDU begins."""
    raw = stream.read(_BLOCK)
    if index and not raw.startswith(b"XTENSION"):
        return None
    if not index and not raw.startswith(b"SIMPLE  ="):
        what = "zero bytes" if not raw[:80].strip(b"\0") else f"'{printable(raw[:20].decode('latin-1'))}'"
        raise UnusableError(f"is not a FITS file, whatever its name: it begins with {what} instead of SIMPLE")
    searched = 0
    while (end := _end_card(raw, searched)) < 0:
        searched = len(raw)
        if searched > cards_left * _CARD:
            raise UnusableError(
                f"its header has no END within {MOST_CARDS} cards: damaged, or not a FITS file"
            )
        more = stream.read(_BLOCK)
        if not more:
            raise NotWholeError(f"is not whole yet: its header breaks off at {size} bytes; {_WRITING}")
        raw += more
    return raw[:end]


def _end_card(raw: bytes, start: int) -> int:
    start = raw.find(b"END     ", start - start % _CARD)
    while start > 0 and start % _CARD:
        start = raw.find(b"END     ", start + 1)
    return start


def _hdu(index: int, raw: bytes) -> tuple[Hdu, int]:
    wcs_header: dict[str, bytes] = {}
    header: dict[str, bytes] = {}
    for start in range(0, len(raw), _CARD):
        card = raw[start : start + _CARD]
        keyword = card[:8].rstrip()
        if _WCS_CARD.match(keyword):
            name = keyword.decode("ascii")
            plain = card.translate(_PLAIN_ASCII)
            wcs_header.setdefault(name, plain if _WORDS.match(name) else numeric_card(keyword, plain))
        elif _OTHER_CARD.match(keyword):
            header.setdefault(keyword.decode("ascii"), card)
    cards = Cards(header)
    is_compressed = cards.value("ZIMAGE") is True
    is_image = is_compressed or index == 0 or cards.value("XTENSION") == "IMAGE"
    shape = _shape(cards, "ZNAXIS" if is_compressed else "NAXIS") if is_image else ()
    return Hdu(index, is_image, shape, header, wcs_header), _data_bytes(cards)


def _shape(cards: Cards, keyword: str) -> tuple[int, ...]:
    axes = _count(cards, keyword, None)
    if axes > 999:
        raise UnusableError(f"its header card {keyword} = {axes} is impossible: damaged")
    return tuple(_count(cards, f"{keyword}{axis}", None) for axis in range(1, axes + 1))


def _count(cards: Cards, keyword: str, missing: int | None) -> int:
    value = cards.value(keyword)
    if value is None and missing is not None:
        return missing
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 1 << 60:
        shown = "is missing" if value is None else f"= '{printable(value, 40)}' is no possible size"
        raise UnusableError(f"its header card {keyword} {shown}: damaged")
    return value


def _data_bytes(cards: Cards) -> int:
    """Return the bytes of data that a header promises (FITS Standard 4.0, equation 2; from memory)."""
    shape = _shape(cards, "NAXIS")
    bits = cards.value("BITPIX")
    if bits not in (8, 16, 32, 64, -32, -64):
        raise UnusableError(f"its header card BITPIX = '{printable(bits, 40)}' is impossible: damaged")
    if not shape:
        return 0
    elements = _count(cards, "PCOUNT", 0) + math.prod(shape)
    return abs(int(bits)) // 8 * _count(cards, "GCOUNT", 1) * elements
