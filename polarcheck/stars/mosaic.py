"""Colour images as one plane: colour planes are added, a colour mosaic's pixels are brought to one sky level.

A mosaic is not interpolated, which would blur it. Its colours differ in sky level and in sensitivity; once the sky is
level, stars are found on all pixels, and measured on the green ones alone. A mosaic that no header names shows in the
levels of its four kinds of pixels, or in the stars' light on them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["Pixels", "Plane", "as_one_plane", "green_diagonal", "is_green", "one_plane"]

Pixels = npt.NDArray[np.float32]

_SAMPLE = 100_000  # pixels of each kind
_CLEARLY, _ALIKE = 4.0, 0.003  # times as far apart as the other diagonal, and by a part of the level
_SURE = 10.0  # standard errors, of levels that tell a mosaic
_GREENS_APART = 0.2  # of what red or blue lie off, that two greens may
_CLIP = 3.0  # standard deviations
_SURE_LIGHT, _MUCH_LIGHT = 5.0, 0.03  # standard errors, and part of the light, by which stars tell one


@dataclass(frozen=True, slots=True)
class Plane:
    """An image as one plane.

    Attributes
    ----------
    pixels : ndarray, shape (h, w)
        At one sky level; NaN where not finite. [count]
    green : int or None
        Of a mosaic: the parity of row plus column of its green pixels.
    """

    pixels: Pixels
    green: int | None


def as_one_plane(image: npt.NDArray[np.generic], mosaic: str | None = None) -> Pixels:
    """Return an image of any kind as one plane; see `one_plane`.

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
    return one_plane(image, mosaic).pixels


def one_plane(image: npt.NDArray[np.generic], mosaic: str | None = None) -> Plane:
    """Return an image of any kind as one plane, and which of its pixels are green.

    Parameters
    ----------
    image, mosaic
        As for `as_one_plane`. A mosaic need not be named where its sky tells it.

    Returns
    -------
    Plane
    """
    data = np.asarray(image)
    with np.errstate(over="ignore", invalid="ignore"):  # too large for single precision: not finite
        single = data.astype(np.float32, copy=False)
        plane = single if data.ndim == 2 else np.asarray(single.mean(axis=0))
        if not np.isfinite(plane.sum()):
            plane = np.where(np.isfinite(plane), plane, np.float32(np.nan))
    if data.ndim == 3 or min(plane.shape) < 4:
        return Plane(plane, None)
    levels, errors = _levels(plane)
    green = _green_by_levels(levels, errors) if mosaic is None else _green_said(levels, mosaic)
    if green is None:
        return Plane(plane, None)
    return Plane(_levelled(plane.copy() if plane is data else plane, levels), green)


def _levelled(plane: Pixels, levels: Array) -> Pixels:
    offsets = (levels.mean() - levels).astype(np.float32)
    for row in (0, 1):  # whole rows at a time are quick
        plane[row::2] += np.resize(offsets[row], plane.shape[1])
    return plane


def is_green(green: int, rows: npt.NDArray[np.int_], columns: npt.NDArray[np.int_]) -> npt.NDArray[np.bool_]:
    """Return whether pixels are green, broadcast over rows and columns."""
    return np.asarray((rows + columns) % 2 == green)


def _green_said(levels: Array, mosaic: str) -> int:
    """Parity of the green pixels of a mosaic with a name.

    Programs differ in whether the order of colours is that of the file's rows or of a picture upside down. Which of the
    two diagonals is green shows in the sky, which is alike in both greens; the word of the header counts where red and
    blue are alike too.
    """
    apart = np.abs([levels[0, 0] - levels[1, 1], levels[0, 1] - levels[1, 0]])
    said = 0 if mosaic[0] == "G" else 1
    clear = apart[said] > _CLEARLY * apart[1 - said] + _ALIKE * np.abs(levels).mean()
    return said if not clear else 1 - said


def _green_by_levels(levels: Array, errors: Array) -> int | None:
    """Parity of the green pixels where the levels are those of a mosaic: alike on one diagonal, apart on the other.

    Rows or columns that alternate, as two amplifiers leave them, are apart on both.
    """
    error = float(np.hypot(errors.max(), errors.max()))
    diagonals = levels[[0, 1], [0, 1]], levels[[0, 1], [1, 0]]
    apart = [abs(float(np.diff(two)[0])) for two in diagonals]
    fits = [
        off > _SURE * error and own < _GREENS_APART * off
        for own, off in zip(apart, (_off(*diagonals), _off(*diagonals[::-1])), strict=True)
    ]
    if all(fits):  # red and blue are nearly alike too
        if max(apart) > _SURE * error:
            return int(np.argmin(apart))
        return int(
            np.argmax([two.mean() for two in diagonals])
        )  # green sees most; common practice, no source
    return fits.index(True) if any(fits) else None


def _off(greens: Array, others: Array) -> float:
    return float(np.abs(others - greens.mean()).max())


def green_diagonal(light: Array) -> int | None:
    """Return the parity of the green pixels where the light of stars tells a mosaic.

    Parameters
    ----------
    light : ndarray, shape (n, 2, 2)
        Of each star, on pixels of even and odd rows and columns. [count]

    Returns
    -------
    int or None
        None where all four kinds of pixels get as much light.
    """
    whole = light.sum(axis=(1, 2))
    light = light[whole > 0] / whole[whole > 0][:, None, None]
    if len(light) < 5:
        return None
    even, odd = light[:, 0, 0] + light[:, 1, 1], light[:, 0, 1] + light[:, 1, 0]
    more = even - odd
    middle = float(np.median(more))
    error = 1.2533 * 1.4826 * float(np.median(np.abs(more - middle))) / np.sqrt(len(more))
    if abs(middle) < max(_SURE_LIGHT * error, _MUCH_LIGHT):
        return None
    # two greens get as much light as each other; red and blue do not, if colours differ at all
    apart = [
        float(np.median(np.abs(light[:, 0, 0] - light[:, 1, 1]) / np.maximum(even, 1e-9))),
        float(np.median(np.abs(light[:, 0, 1] - light[:, 1, 0]) / np.maximum(odd, 1e-9))),
    ]
    brighter = 0 if middle > 0 else 1
    return brighter if apart[brighter] < 2 * apart[1 - brighter] else 1 - brighter


def _levels(image: npt.NDArray[np.generic]) -> tuple[Array, Array]:
    """Sky of the four kinds of pixels of a mosaic's pattern and its standard error, shape (2, 2) each."""
    found = np.array([[_level(image[i::2, j::2]) for j in (0, 1)] for i in (0, 1)])
    return found[..., 0], found[..., 1]


def _level(channel: npt.NDArray[np.generic]) -> tuple[float, float]:
    """Mean of the sky without its stars: unlike a median it reads between whole counts."""
    step = max(1, int(np.sqrt(channel.size / _SAMPLE)))
    some = channel[::step, ::step]
    known = some[np.isfinite(some)]
    if not len(known):
        return 0.0, 0.0
    low, middle, high = (float(v) for v in np.percentile(known, (15.9, 50.0, 84.1)))
    spread = max(middle - low, min(high - middle, 2 * (middle - low))) or 1e-6
    sky = known[np.abs(known - np.float32(middle)) <= np.float32(_CLIP * spread)]
    return float(sky.mean(dtype=float)), spread / float(np.sqrt(len(known)))
