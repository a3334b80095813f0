"""The pixels of a frame, for star marks and drawing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.frames.companions import image_beside, is_header_only
from polarcheck.frames.headers import Hdu, walk
from polarcheck.frames.kinds import Kind, kind_of
from polarcheck.frames.loading import careful, image_cards
from polarcheck.frames.pictures import picture_pixels
from polarcheck.frames.raw_files import raw_pixels

__all__ = ["Image", "read_image", "read_pixels"]

# of the image as it is worked on; with what is made of it on the way about twice that
_MOST_BYTES = 1_000_000_000
_FULL_8_BITS = 255.0
_MOSAICS = ("RGGB", "BGGR", "GRBG", "GBRG")


def read_pixels(path: Path) -> npt.NDArray[np.floating]:
    """Read the first image in a file.

    Parameters
    ----------
    path : pathlib.Path
        A FITS image, also tile-compressed or gzipped; JPEG, PNG, TIFF; a camera's raw file; or the header-only solution
        beside one.

    Returns
    -------
    ndarray, shape (height, width) or (planes, height, width)
        Physical values (BZERO and BSCALE applied), single precision where that loses nothing. The file's first row comes
        first. Of a picture in colour the luminance; of a raw file the visible sensor, its mosaic as it is.

    Raises
    ------
    FrameError
        The file cannot be read or holds no image.
    """
    with careful(path):
        image = _image_of(path)
        kind = kind_of(image)
        if kind is Kind.PICTURE:
            return picture_pixels(image)
        return raw_pixels(image).counts if kind is Kind.RAW else _fits_pixels(image)


def _image_of(path: Path) -> Path:
    return (image_beside(path) or path) if is_header_only(path) else path


def _fits_pixels(path: Path) -> npt.NDArray[np.floating]:
    from astropy.io import fits

    index = _image_index(path)
    try:
        with fits.open(path, memmap=False, lazy_load_hdus=True) as hdus:
            data = np.asarray(hdus[index].data)
    except MemoryError as error:
        raise UnusableError("its image is too large for the memory") from error
    except Exception as error:  # of every kind, for bytes that do not unpack
        raise UnusableError("its pixels are damaged; copy it again, or take it again") from error
    if data.ndim < 2:
        raise UnusableError("holds no image")
    planes = data.reshape(-1, *data.shape[-2:])
    kind = np.result_type(data.dtype, np.float32)
    return (planes[0] if len(planes) == 1 else planes).astype(kind)


@dataclass(frozen=True, slots=True)
class Image:
    """An image and what its header says of its pixels.

    Attributes
    ----------
    pixels : ndarray, shape (height, width) or (planes, height, width)
        Physical values. [count]
    mosaic : str or None
        Order of the colours of a colour mosaic, such as ``"RGGB"``, at the image's first row and column.
    saturation : float or None
        Count from which a pixel is saturated, if the header says so.
    has_tone_curve : bool
        Whether counts likely do not grow as the light does: a picture of 8 bits, as cameras and converters make them.
    """

    pixels: npt.NDArray[np.floating]
    mosaic: str | None
    saturation: float | None
    has_tone_curve: bool = False


def read_image(path: Path) -> Image:
    """Read the first image in a file with what its header says of mosaic and saturation.

    Parameters
    ----------
    path : pathlib.Path
        As for `read_pixels`.

    Returns
    -------
    Image

    Raises
    ------
    FrameError
        The file cannot be read or holds no image.

    Notes
    -----
    BAYERPAT, XBAYROFF, YBAYROFF, XBINNING and SATURATE, DATAMAX are no keywords of the FITS Standard but for DATAMAX
    (common practice, no source).
    """
    with careful(path):
        image = _image_of(path)
        if kind_of(image) is Kind.RAW:
            raw = raw_pixels(image)
            return Image(raw.counts, raw.mosaic, raw.white)
        pixels = read_pixels(image)
        cards = image_cards(image)
        mosaic = _mosaic(cards) if pixels.ndim == 2 else None
        saturation = _saturation(cards, pixels)
        return Image(pixels, mosaic, saturation, not cards.are_fits and saturation == _FULL_8_BITS)


def _mosaic(cards: Cards) -> str | None:
    pattern = (_text(cards, "BAYERPAT") or _text(cards, "COLORTYP")).upper()
    if pattern not in _MOSAICS or _number(cards, "XBINNING", 1.0) > 1:
        return None
    across, down = (int(_number(cards, key, 0.0)) % 2 for key in ("XBAYROFF", "YBAYROFF"))
    rows = [pattern[:2], pattern[2:]]
    return "".join(rows[(i + down) % 2][(j + across) % 2] for i in (0, 1) for j in (0, 1))


def _saturation(cards: Cards, pixels: npt.NDArray[np.floating]) -> float | None:
    """Return the level said; a largest valid value that pixels exceed is left over from another state of the image."""
    said = _number(cards, "SATURATE", 0.0)
    most = _number(cards, "DATAMAX", 0.0)
    if said <= 0 < most and not (pixels > most).any():
        said = most
    return said if said > 0 else None


def _text(cards: Cards, key: str) -> str:
    """A card's text; one that is none tells nothing."""
    try:
        return cards.text(key) or ""
    except UnusableError:
        return ""


def _number(cards: Cards, key: str, otherwise: float) -> float:
    """A card's number; one that is none tells nothing."""
    try:
        value = cards.number(key)
    except UnusableError:
        return otherwise
    return otherwise if value is None or abs(value) > 1e12 else value


def _image_index(path: Path) -> int:
    for hdu in walk(path):
        if hdu.is_image and len(hdu.shape) >= 2:
            _check_size(hdu)
            return hdu.index
    raise UnusableError("holds no image")


def _check_size(hdu: Hdu) -> None:
    """Refuse by what the header declares an image that would not fit into the memory of a small machine."""
    pixels = math.prod(hdu.shape)
    if pixels == 0:
        raise UnusableError("holds no image: its header declares no pixels")
    cards = Cards(hdu.header)
    bits = cards.value("ZBITPIX" if "ZBITPIX" in cards else "BITPIX")
    whole = 8 if bits in (64, -64, 32) else 4  # 32-bit counts need double precision
    if pixels * whole > _MOST_BYTES:
        raise UnusableError(
            f"its image is too large: {' x '.join(map(str, hdu.shape[:4]))} pixels take {pixels * whole / 1e9:.1f} GB; at "
            f"most {_MOST_BYTES / 1e9:.1f} GB is read"
        )
