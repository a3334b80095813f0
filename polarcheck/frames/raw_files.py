"""Cameras' raw files by rawpy (LibRaw): the sensor's own counts, its colour mosaic as it is.

Pixels are those of the sensor's visible part in the order in which it is read; the camera's orientation is not applied.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from threading import RLock
from typing import Any

import numpy as np
import numpy.typing as npt

from polarcheck.frames.cards import UnusableError
from polarcheck.frames.exif import exif_cards, exif_notices
from polarcheck.frames.headers import Hdu
from polarcheck.frames.picture_checks import check_size
from polarcheck.frames.pictures import tags_in_tiff
from polarcheck.printable import printable

__all__ = ["RawPixels", "raw_hdu", "raw_pixels"]

_NO_LIBRARY = "is a camera's raw file, which needs the package rawpy: install polarcheck[raw]"
_DAMAGED = "its pixels are damaged or not whole; copy it again, or take it again"
_ONE_AT_A_TIME = RLock()
_TIFF_BEGINS = (b"II*\0", b"MM\0*")


def raw_hdu(path: Path) -> Hdu:
    """Return size and cards of a raw file without unpacking its pixels.

    Raises
    ------
    UnusableError
        Damaged, of a camera that LibRaw does not know, too large, or rawpy is not installed.
    """
    with _opened(path) as raw:
        tags = _tags(path) or _tags_of_library(raw)
        cards = exif_cards(tags)
        return Hdu(0, True, (int(raw.sizes.width), int(raw.sizes.height)), cards, {}, exif_notices(cards))


@dataclass(frozen=True, slots=True)
class RawPixels:
    """The visible part of a sensor.

    Attributes
    ----------
    counts : ndarray, shape (height, width)
        Black level included; a mosaic is not interpolated.
    mosaic : str or None
        Order of the colours at the first row and column, such as ``"RGGB"``; None for another pattern than two by two.
    white : float or None
        Count from which a pixel is saturated.
    """

    counts: npt.NDArray[np.float32]
    mosaic: str | None
    white: float | None


def raw_pixels(path: Path) -> RawPixels:
    """Read the visible part of a sensor.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    RawPixels
        Of a file with several counts a pixel the mean of the first three.

    Raises
    ------
    UnusableError
        As for `raw_hdu`.
    """
    with _opened(path) as raw:
        counts = _asked(raw, "raw_image_visible")
        if counts is None or counts.ndim not in (2, 3) or not counts.size:
            raise UnusableError("holds no counts of a sensor that can be read")
        mosaic = _mosaic(raw) if counts.ndim == 2 else None
        plane = np.array(counts if counts.ndim == 2 else counts[..., :3].mean(axis=2), dtype=np.float32)
        return RawPixels(plane, mosaic, float(raw.white_level or 0) or None)


def _mosaic(raw: Any) -> str | None:
    try:
        pattern, names = raw.raw_pattern, raw.color_desc.decode("ascii")
        if pattern is None or pattern.shape != (2, 2):
            return None
        return "".join(names[int(colour)] for colour in pattern.flat)
    except Exception:  # the library has none for this kind of file
        return None


def _tags(path: Path) -> dict[str, Any]:
    """EXIF of a raw file that is a TIFF inside."""
    with suppress(Exception), path.open("rb") as file:  # of every kind, for bytes that are no EXIF
        if file.read(4) in _TIFF_BEGINS:
            file.seek(0)
            tags = tags_in_tiff(file)
            return tags if "DateTimeOriginal" in tags else {}
    return {}


def _tags_of_library(raw: Any) -> dict[str, Any]:
    """What LibRaw itself finds: no fraction of a second, no zone, no place."""
    other = getattr(raw, "other", None)  # older versions lack it
    if other is None:
        return {}
    tags = {"ExposureTime": other.shutter_speed, "FocalLength": other.focal_length}
    with suppress(AttributeError, ValueError):
        tags["DateTimeOriginal"] = other.timestamp.strftime("%Y:%m:%d %H:%M:%S")
    return tags


def _asked(raw: Any, what: str) -> Any:
    """Ask LibRaw for what it must unpack the file for; older versions must for everything."""
    try:
        return getattr(raw, what)
    except Exception as error:  # of every kind, for bytes that do not unpack
        is_too_large = isinstance(error, MemoryError) or type(error).__name__ == "LibRawTooBigError"
        raise UnusableError("its image is too large for the memory" if is_too_large else _DAMAGED) from error


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    try:
        import rawpy
    except ImportError as error:
        raise UnusableError(_NO_LIBRARY) from error
    with _ONE_AT_A_TIME, _quiet():
        raw = rawpy.RawPy()
        try:
            _open(raw, path)
            sizes = _asked(raw, "sizes")
            check_size(max(sizes.raw_width, sizes.width), max(sizes.raw_height, sizes.height))
            yield raw
        finally:
            raw.close()


def _open(raw: Any, path: Path) -> None:
    try:
        if str(path).isascii():
            raw.open_file(str(path))
        else:  # LibRaw's way with other names differs from system to system
            with path.open("rb") as file:
                raw.open_buffer(file)
    except OSError as error:
        raise UnusableError(
            f"cannot be opened: {printable(error.strerror or type(error).__name__).lower()}"
        ) from error
    except MemoryError as error:
        raise UnusableError("its image is too large for the memory") from error
    except Exception as error:  # LibRaw's own errors, which older versions keep elsewhere
        raise UnusableError(
            "is no raw file that LibRaw knows: damaged, not whole, or of an unknown camera"
        ) from error


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what LibRaw itself writes about damaged files off the error stream, which belongs to the whole process.

    What another thread writes there meanwhile is lost too: no more than a line of progress.
    """
    try:
        sys.stderr.flush()
        kept = os.dup(2)
    except (OSError, AttributeError, ValueError):  # there is no error stream
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:  # noqa: PTH123 - a device, not a path
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
