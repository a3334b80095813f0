"""Colour images as one plane: colour planes are added, a colour mosaic's pixels are brought to one sky level.

A mosaic is not interpolated, which would blur it. Its colours differ in sky level and sensitivity; once the sky is
level, the pattern that is left alternates from pixel to pixel, and second moments of well-sampled stars do not see
it. The peak's shape does, and is taken from the green pixels alone.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["Pixels", "as_one_plane", "green_pixels"]

Pixels = npt.NDArray[np.float32]

_SAMPLE = 250_000


def as_one_plane(image: npt.NDArray[np.generic], mosaic: str | None = None) -> Pixels:
    """Return an image of any kind as one plane.

    Parameters
    ----------
    image : ndarray, shape (h, w) or (k, h, w)
        One plane, a colour mosaic, or colour planes. [count]
    mosaic : str, optional
        Order of the colours in the first two rows and columns of a mosaic, such as ``"RGGB"``.

    Returns
    -------
    ndarray, shape (h, w)
        Pixels that are not finite are NaN.
    """
    data = np.asarray(image)
    if data.ndim == 3:
        return np.asarray(data.astype(np.float32).mean(axis=0))
    plane = data.astype(np.float32, copy=mosaic is not None)
    if mosaic is None:
        return plane
    levels = np.array([[_level(plane[i::2, j::2]) for j in (0, 1)] for i in (0, 1)])
    for i in (0, 1):
        for j in (0, 1):
            plane[i::2, j::2] += np.float32(levels.mean() - levels[i, j])
    return plane


def green_pixels(mosaic: str, shape: tuple[int, int]) -> npt.NDArray[np.bool_]:
    """Return which pixels of a mosaic are green, shape (h, w)."""
    green = np.array([letter == "G" for letter in mosaic]).reshape(2, 2)
    return np.tile(green, ((shape[0] + 1) // 2, (shape[1] + 1) // 2))[: shape[0], : shape[1]]


def _level(channel: Pixels) -> float:
    step = max(1, int(np.sqrt(channel.size / _SAMPLE)))
    return float(np.nanmedian(channel[::step, ::step]))
