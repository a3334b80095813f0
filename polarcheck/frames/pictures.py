"""JPEG, PNG and TIFF by Pillow: size, EXIF, and pixels in the order in which the file has them.

The orientation that EXIF states turns no pixels here: a plate solution belongs to the pixels as they are stored.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
import numpy.typing as npt

from polarcheck.frames.cards import UnusableError
from polarcheck.frames.exif import GPS_TAGS, TAGS, card, exif_cards, exif_notices
from polarcheck.frames.headers import Hdu
from polarcheck.frames.picture_checks import check_size, check_whole, unknown
from polarcheck.frames.wide_colour import is_wide, lower_bytes
from polarcheck.printable import printable

if TYPE_CHECKING:
    from PIL.Image import Exif, Image

__all__ = ["exif_tags", "picture_hdu", "picture_pixels", "tags_in_tiff"]

_FORMATS = ("JPEG", "PNG", "TIFF")
_WEIGHTS = (
    0.299,
    0.587,
    0.114,
)  # of red, green, blue in the luminance of JPEG (ITU-T T.871, section 7; from memory)
_OF_8_BITS = ("L", "LA", "RGB", "RGBA", "RGBX", "YCbCr", "P")
_OF_16_BITS = ("I;16", "I;16B", "I;16L", "I;16N")
_MODES = (*_OF_8_BITS, *_OF_16_BITS, "I", "F")
_FULL_8, _FULL_16 = 2.0**8 - 1, 2.0**16 - 1
_MODES_SAID = {"CMYK": "colours of ink, CMYK", "LAB": "CIE L*a*b*", "1": "black and white"}
_ONE_AT_A_TIME = RLock()
_STRIP = 512  # rows worked on together
_EXIF_IFD, _GPS_IFD = 0x8769, 0x8825
_PNG_EXIF = ("exif", "Raw profile type exif")  # what Pillow calls it
_PLANAR, _BITS = 284, 258  # how a TIFF keeps its colours, and in how many bits (TIFF 6.0; from memory)


def picture_hdu(path: Path) -> Hdu:
    """Return size and cards of a picture without unpacking its pixels.

    Raises
    ------
    UnusableError
        Damaged, not whole, of a kind that is not read, or too large.
    """
    with _opened(path) as image:
        cards = exif_cards(_exif(image))
        notices = exif_notices(cards)
        full = _fullest(image)
        if full is not None:
            cards["SATURATE"] = card("SATURATE", full)
        return Hdu(0, True, image.size, cards, {}, notices)


def _fullest(image: Image) -> float | None:
    """Return the largest count that a picture can hold, where it has one."""
    # older versions of Pillow give a PNG of 16 bits as one of 32
    if image.mode in _OF_16_BITS or is_wide(image) or (image.format == "PNG" and image.mode == "I"):
        return _FULL_16
    return _FULL_8 if image.mode in _OF_8_BITS else None


def _exif(image: Image) -> dict[str, Any]:
    if image.format == "PNG" and not any(key in image.info for key in _PNG_EXIF):
        return {}  # Pillow would unpack the pixels to look for more behind them
    try:
        return exif_tags(image.getexif())
    except Exception:  # of every kind, for bytes that are no EXIF
        return {}


def tags_in_tiff(file: BinaryIO) -> dict[str, Any]:
    """Return the tags of a file that begins like a TIFF, whatever else is in it; raises errors of many kinds."""
    exif: Exif = _pillow().Exif()
    exif.load_from_fp(file)
    return exif_tags(exif)


def _pillow() -> Any:
    from PIL import Image

    return Image


def exif_tags(exif: Exif) -> dict[str, Any]:
    """Return the tags of time, place and lens by the standard's names."""
    found: dict[str, Any] = {}
    for ifd, names in ((_EXIF_IFD, TAGS), (_GPS_IFD, GPS_TAGS)):
        try:
            values = exif.get_ifd(ifd)
        except Exception:  # of every kind, for bytes that are no EXIF
            continue
        found |= {name: values[tag] for tag, name in names.items() if tag in values}
    # some raw files keep the length of the exposure among the image's own tags
    return {name: exif[tag] for tag, name in TAGS.items() if tag in exif} | found


def picture_pixels(path: Path) -> npt.NDArray[np.float32]:
    """Read a picture's pixels; of colours the luminance.

    Parameters
    ----------
    path : pathlib.Path
        JPEG, PNG or TIFF.

    Returns
    -------
    ndarray, shape (height, width)
        As the file has them: its first row first, EXIF's orientation not applied. Counts of 16 bits are kept.

    Raises
    ------
    UnusableError
        As for `picture_hdu`.

    Notes
    -----
    Of a JPEG the luminance is what the file itself holds at full resolution; its colours are most often halved.
    """
    with _opened(path) as image:
        wide = is_wide(image)
        image.draft("L", None)  # a JPEG's luminance as it is kept
        upper = _unpacked(image)
    if not wide:
        return upper
    upper *= np.float32(256)
    with _opened(path) as image:
        lower_bytes(image)
        upper += _unpacked(image)
    return upper


def _unpacked(image: Image) -> npt.NDArray[np.float32]:
    try:
        image.load()
        return _luminance(image.convert("RGB") if image.mode == "P" else image)
    except MemoryError as error:
        raise UnusableError("its image is too large for the memory") from error
    except Exception as error:  # of every kind, for bytes that do not unpack
        raise UnusableError("its pixels are damaged or not whole; copy it again, or take it again") from error


def _luminance(image: Image) -> npt.NDArray[np.float32]:
    width, height = image.size
    weights = np.array(_WEIGHTS, np.float32)
    out = np.empty((height, width), np.float32)
    for top in range(0, height, _STRIP):
        strip = np.asarray(image.crop((0, top, width, min(top + _STRIP, height))))
        if strip.ndim == 3 and image.mode in ("LA", "YCbCr"):
            strip = strip[..., 0]
        out[top : top + _STRIP] = strip if strip.ndim == 2 else strip[..., :3].astype(np.float32) @ weights
    return out


@contextmanager
def _opened(path: Path) -> Iterator[Image]:
    """Open a picture and check what its first bytes declare; Pillow's own bound of size gives way to this room's."""
    pillow = _pillow()
    try:
        with _without_bound(pillow), path.open("rb") as file, _image(pillow, file, path) as image:
            _check(image, path)
            yield image
    except OSError as error:
        raise UnusableError(
            f"cannot be opened: {printable(error.strerror or type(error).__name__).lower()}"
        ) from error


@contextmanager
def _without_bound(pillow: Any) -> Iterator[None]:
    """The bound is Pillow's for the whole process, so that one picture is read at a time."""
    with _ONE_AT_A_TIME:
        bound, pillow.MAX_IMAGE_PIXELS = pillow.MAX_IMAGE_PIXELS, None
        try:
            yield
        finally:
            pillow.MAX_IMAGE_PIXELS = bound


def _image(pillow: Any, file: Any, path: Path) -> Any:
    try:
        return pillow.open(file, formats=_FORMATS)
    except MemoryError as error:
        raise UnusableError("its image is too large for the memory") from error
    except Exception as error:  # of every kind, for first bytes that are damaged
        raise UnusableError(unknown(path)) from error


def _check(image: Image, path: Path) -> None:
    check_size(*image.size)
    if image.mode not in _MODES:
        said = _MODES_SAID.get(image.mode, printable(image.mode, 20))
        raise UnusableError(
            f"its kind of pixels is not read ({said}); save it in grey, or in red, green and blue"
        )
    if image.format == "TIFF":
        _check_tiff(image)
    elif image.format == "PNG" and getattr(image, "is_animated", False):
        raise UnusableError("is an animation; give its pictures as files of their own")
    check_whole(image, path)


def _check_tiff(image: Any) -> None:
    bits = np.atleast_1d(image.tag_v2.get(_BITS, 8))
    if image.tag_v2.get(_PLANAR, 1) == 2 and bits.max() > 8:
        raise UnusableError(
            "keeps each colour by itself in 16 bits, which is not read; save it with colours together"
        )
    size = image.size
    try:
        image.seek(1)
        more = image.size
    except Exception:  # no second picture, or one that cannot be read
        more = (0, 0)
    image.seek(0)
    if more[0] * more[1] >= size[0] * size[1]:  # a smaller one is a preview
        raise UnusableError("holds several pictures of its size; give them as files of their own")
