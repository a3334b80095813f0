"""The pixels of a frame, for star marks and drawing."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import numpy.typing as npt

from polarcheck.frames.cards import UnusableError
from polarcheck.frames.companions import image_beside, is_header_only
from polarcheck.frames.headers import walk
from polarcheck.frames.loading import careful

__all__ = ["read_pixels"]

_MOST_PIXELS = 500_000_000


def read_pixels(path: Path) -> npt.NDArray[np.floating]:
    """Read the first image in a file.

    Parameters
    ----------
    path : pathlib.Path
        A FITS image, also tile-compressed or gzipped, or the header-only solution beside one.

    Returns
    -------
    ndarray, shape (height, width) or (planes, height, width)
        Physical values (BZERO and BSCALE applied), single precision where that loses nothing.

    Raises
    ------
    FrameError
        The file cannot be read or holds no image.
    """
    from astropy.io import fits

    with careful(path):
        image = (image_beside(path) or path) if is_header_only(path) else path
        index = _image_index(image)
        with fits.open(image, memmap=False, lazy_load_hdus=True) as hdus:
            data = np.asarray(hdus[index].data)
        if data.ndim < 2:
            raise UnusableError("holds no image")
        planes = data.reshape(-1, *data.shape[-2:])
        kind = np.result_type(data.dtype, np.float32)
        return (planes[0] if len(planes) == 1 else planes).astype(kind)


def _image_index(path: Path) -> int:
    for hdu in walk(path):
        if hdu.is_image and len(hdu.shape) >= 2:
            if math.prod(hdu.shape) > _MOST_PIXELS:
                raise UnusableError(f"its image is too large: {math.prod(hdu.shape)} pixels")
            return hdu.index
    raise UnusableError("holds no image")
