"""Colour images as one plane: colour planes are added, a colour mosaic's pixels are brought to one sky level.

A mosaic is not interpolated, which would blur it. Its colours differ in sky level and sensitivity; once the sky is
level, the pattern that is left alternates from pixel to pixel, and second moments of well-sampled stars do not see
it. The peak's shape does, and is taken from the green pixels alone.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["Pixels", "as_one_plane", "green_pixels"]

Pixels = npt.NDArray[np.float32]

_SAMPLE = 250_000
_CLEARLY, _ALIKE = 4.0, 0.003  # times as far apart as the other diagonal, and by a part of the level


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
    with np.errstate(over="ignore", invalid="ignore"):  # too large for single precision: not finite
        if data.ndim == 3:
            plane = np.asarray(data.astype(np.float32).mean(axis=0))
        else:
            plane = data.astype(np.float32, copy=mosaic is not None)
        if not np.isfinite(plane.sum()):
            plane = np.where(np.isfinite(plane), plane, np.float32(np.nan))
    if mosaic is None:
        return plane
    levels = _levels(plane)
    for i in (0, 1):
        for j in (0, 1):
            plane[i::2, j::2] += np.float32(levels.mean() - levels[i, j])
    return plane


def green_pixels(image: npt.NDArray[np.generic], mosaic: str) -> npt.NDArray[np.bool_]:
    """Return which pixels of a mosaic are green, shape (h, w).

    Programs differ in whether the order of colours is that of the file's rows or of a picture upside down. Which of the
    two diagonals is green shows in the sky, which is alike in both greens; the word of the header counts where red and
    blue are alike too.
    """
    levels = _levels(image)
    apart = np.abs([levels[0, 0] - levels[1, 1], levels[0, 1] - levels[1, 0]])
    said = 0 if mosaic[0] == "G" else 1
    clear = apart[said] > _CLEARLY * apart[1 - said] + _ALIKE * np.abs(levels).mean()
    rising = said if not clear else 1 - said
    rows, columns = (np.arange(n) % 2 for n in image.shape)
    return np.asarray((rows[:, None] + columns) % 2 == rising)


def _levels(image: npt.NDArray[np.generic]) -> Array:
    """Sky of the four pixels of a mosaic's pattern, shape (2, 2)."""
    return np.array([[_level(image[i::2, j::2]) for j in (0, 1)] for i in (0, 1)])


def _level(channel: npt.NDArray[np.generic]) -> float:
    step = max(1, int(np.sqrt(channel.size / _SAMPLE)))
    some = channel[::step, ::step].astype(float)
    known = some[np.isfinite(some)]
    return float(np.median(known)) if len(known) else 0.0
