"""The headers of an image file of any kind: FITS, picture, raw."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from polarcheck.frames.headers import Hdu, walk
from polarcheck.frames.kinds import Kind, kind_of
from polarcheck.frames.pictures import picture_hdu
from polarcheck.frames.raw_files import raw_hdu

__all__ = ["hdus"]


def hdus(path: Path) -> Iterator[Hdu]:
    """Yield what a file says of its images; a picture or a raw file holds one, with what EXIF says as its cards.

    Parameters
    ----------
    path : pathlib.Path

    Yields
    ------
    Hdu

    Raises
    ------
    UnusableError
        The file cannot be read.
    """
    kind = kind_of(path)
    if kind is Kind.PICTURE:
        yield picture_hdu(path)
    elif kind is Kind.RAW:
        yield raw_hdu(path)
    else:
        yield from walk(path)
