"""Small stretched pictures of frames."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO

import numpy as np
import numpy.typing as npt
from PIL import Image as Pictures

from polarcheck.frames import Image
from polarcheck.stars import as_one_plane

__all__ = ["Thumbnail", "thumbnail_of"]

_LONG_SIDE_PX = 256
_MOST_BYTES = 14_000
_QUALITIES = (72, 40, 25)
_BELOW, _ABOVE, _SOFT = 1.5, 40.0, 6.0  # noise of the small picture: black, white, where the stretch bends


@dataclass(frozen=True, slots=True)
class Thumbnail:
    """A small picture.

    Attributes
    ----------
    jpeg : bytes
        The picture, grey.
    width_px, height_px : int
        [px]
    shrunk : int
        Pixels of the frame, along each side, that became one.
    """

    jpeg: bytes
    width_px: int
    height_px: int
    shrunk: int


def thumbnail_of(image: Image) -> Thumbnail | None:
    """Return a frame as a small picture, +y up, stretched from just below its sky to its brighter stars.

    Parameters
    ----------
    image : Image

    Returns
    -------
    Thumbnail or None
        None where no pixel is a number.
    """
    plane = as_one_plane(image.pixels, image.mosaic)
    shrunk = max(1, -(-max(plane.shape) // _LONG_SIDE_PX))
    grey = _stretched(_smaller(plane, shrunk))
    if grey is None:
        return None
    height, width = grey.shape
    picture = Pictures.fromarray(grey)
    content = b""
    for quality in _QUALITIES:
        stream = BytesIO()
        picture.save(stream, "JPEG", quality=quality, optimize=True)
        content = stream.getvalue()
        if len(content) <= _MOST_BYTES:
            break
    return Thumbnail(content, width, height, shrunk)


def _smaller(plane: npt.NDArray[np.float32], shrunk: int) -> npt.NDArray[np.float32]:
    """Means over squares with a share of their brightest pixel, so that sharp stars do not drown in the sky."""
    height, width = (max(side // shrunk, 1) for side in plane.shape)
    part = plane[: height * shrunk, : width * shrunk]
    part = np.where(np.isfinite(part), part, np.nan)
    blocks = part.reshape(height, part.shape[0] // height, width, part.shape[1] // width)
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    mean = np.where(known, blocks, 0).sum(axis=(1, 3)) / np.maximum(count, 1)
    most = np.where(known, blocks, -np.inf).max(axis=(1, 3))
    return np.asarray(np.where(count > 0, 0.7 * mean + 0.3 * most, np.nan), dtype=np.float32)


def _stretched(small: npt.NDArray[np.float32]) -> npt.NDArray[np.uint8] | None:
    """Grey levels by an inverse hyperbolic sine, rows turned so that +y is up."""
    known = np.isfinite(small)
    if not known.any():
        return None
    sky = float(np.median(small[known]))
    below = small[known & (small <= sky)]
    noise = 1.4826 * float(np.median(sky - below)) or float(np.ptp(small[known])) / 100 or 1.0
    over = np.clip((np.where(known, small, sky) - sky) / noise + _BELOW, 0, None)
    level = np.arcsinh(over / _SOFT) / np.arcsinh((_ABOVE + _BELOW) / _SOFT)
    return np.asarray(np.clip(255 * level, 0, 255)[::-1].round(), dtype=np.uint8)
