"""Size and elongation of stars, many at once.

Second moments are taken in an ellipse of four standard deviations that grows with the star until both agree, so that
neither a threshold nor a weight makes them too small; a trail too long for a window keeps the moments of its bright
pixels. On a mosaic the green pixels alone count: among all of them the colours' pattern would make small stars long.
The widths of large stars come from the peak itself (`widths`), those of small ones from fits (`sizes`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.stars.finding import Groups, Sky
from polarcheck.stars.mosaic import Pixels, is_green
from polarcheck.stars.widths import peak_widths, squared_distance
from polarcheck.vectors import Array

__all__ = ["Shapes", "Windows", "measure_shapes", "window_of", "windows_around"]

_REACH = 4.0  # standard deviations: beyond lie 0.3 % of a Gaussian's second moment
_ROUNDS = 5
_MOST = 600  # stars whose shape is measured
_MOST_PIXELS = 2_500_000  # of windows of one size: of wide stars so many
_AT_ONCE = 80_000  # pixels of windows; no window is larger
_LARGE = 36  # px, half of a window: in smaller ones profiles are fitted later


@dataclass(frozen=True, slots=True)
class Shapes:
    """Shapes of stars.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        Centre of light. [px]
    flux : ndarray, shape (n,)
        [count]
    moments : ndarray, shape (n, 3)
        Second moments xx, xy, yy; NaN where none could be found. [px^2]
    noise : ndarray, shape (n,)
        Standard error of each component of the ellipticity, (xx - yy) and 2 xy over (xx + yy), by the sky's noise.
    core_fwhm : ndarray, shape (n,)
        Full width at half maximum along the shorter axis of the peak; of large stars and long trails only. [px]
    """

    x: Array
    y: Array
    flux: Array
    moments: Array
    noise: Array
    core_fwhm: Array


@dataclass(frozen=True, slots=True)
class Windows:
    """Square pieces of an image.

    Attributes
    ----------
    light : ndarray, shape (n, s, s)
        Pixels; any value where they do not count. [count]
    use : ndarray, shape (n, s, s)
        Whether they lie in the image, are numbers, and on a mosaic green.
    """

    light: npt.NDArray[np.generic]
    use: npt.NDArray[np.bool_]


def measure_shapes(image: Pixels, sky: Sky, groups: Groups, green: int | None = None) -> Shapes:
    """Measure the shapes of the brightest groups of pixels.

    Parameters
    ----------
    image : ndarray, shape (h, w)
    sky : Sky
    groups : Groups
    green : int, optional
        Of a mosaic: the parity of row plus column of the green pixels, which alone count.

    Returns
    -------
    Shapes
    """
    count = len(groups.x)
    x, y, flux = groups.x.copy(), groups.y.copy(), groups.flux.copy()
    moments, noise = np.full((count, 3), np.nan), np.full(count, np.nan)
    core = np.full(count, np.nan)
    half, is_long = _half_windows(groups)
    half[np.argsort(-groups.flux)[_MOST:]] = 0  # fainter ones tell nothing more about shapes
    for size in (int(size) for size in np.unique(half[half > 0])):
        area = (2 * size + 1) ** 2
        some = np.flatnonzero(half == size)
        half[some[np.argsort(-groups.flux[some])[_MOST_PIXELS // area :]]] = 0
        some = np.flatnonzero(half == size)
        step = _AT_ONCE // area
        for first in range(0, len(some), step):
            part = some[first : first + step]
            cut = windows_around(image, groups.x[part], groups.y[part], size, green)
            found = _measured(cut, sky.noise, groups.spread[part], size)
            known = np.isfinite(found[3]).all(axis=1)
            x[part] = np.where(known, np.rint(groups.x[part]) + found[0], x[part])
            y[part] = np.where(known, np.rint(groups.y[part]) + found[1], y[part])
            flux[part] = np.where(known, found[2], flux[part])
            moments[part], noise[part], core[part] = found[3:]
    return _with_long_trails(Shapes(x, y, flux, moments, noise, core), groups, is_long & (half > 0))


def _half_windows(groups: Groups) -> tuple[npt.NDArray[np.int_], npt.NDArray[np.bool_]]:
    """Half the side of each star's window, with room for its ellipse and some sky around; whether there is none."""
    trace = groups.spread[:, 0, 0] + groups.spread[:, 1, 1]
    apart = np.hypot(groups.spread[:, 0, 0] - groups.spread[:, 1, 1], 2 * groups.spread[:, 0, 1])
    wanted = 5.5 * np.sqrt((trace + apart) / 2) + 2
    largest = (math.isqrt(_AT_ONCE) - 1) // 2
    return np.minimum(window_of(wanted), largest), np.asarray((_REACH + 0.2) / 5.5 * wanted > largest)


def window_of(wanted: Array) -> npt.NDArray[np.int_]:
    """Return half of the window for what is wanted: few sizes, powers of the root of two, serve all stars. [px]"""
    return np.asarray(np.ceil(2 ** (np.ceil(2 * np.log2(wanted)) / 2)).astype(int))


def _with_long_trails(shapes: Shapes, groups: Groups, is_long: npt.NDArray[np.bool_]) -> Shapes:
    """Take what is too long for a window from its bright pixels: their ends are cut off alike, so the length is right."""
    spread = groups.spread[is_long]
    shapes.x[is_long], shapes.y[is_long] = groups.x[is_long], groups.y[is_long]
    shapes.flux[is_long] = groups.flux[is_long]
    shapes.moments[is_long] = np.stack([spread[:, 0, 0], spread[:, 0, 1], spread[:, 1, 1]], axis=-1)
    shapes.noise[is_long] = 0.0  # next to its length
    return shapes


def windows_around(
    image: npt.NDArray[np.generic], x: Array, y: Array, half: int, green: int | None = None
) -> Windows:
    """Cut square pieces around places.

    Parameters
    ----------
    image : ndarray, shape (h, w)
    x, y : ndarray, shape (n,)
        Places. [px]
    half : int
        Of the side, without the middle. [px]
    green : int, optional
        As for `measure_shapes`.

    Returns
    -------
    Windows
    """
    span = np.arange(-half, half + 1)
    rows = np.rint(y).astype(int)[:, None] + span
    columns = np.rint(x).astype(int)[:, None] + span
    height, width = image.shape
    cut = image[np.clip(rows, 0, height - 1)[:, :, None], np.clip(columns, 0, width - 1)[:, None, :]]
    inside = ((rows >= 0) & (rows < height))[:, :, None] & ((columns >= 0) & (columns < width))[:, None, :]
    use = inside & np.isfinite(cut)
    if green is not None:
        use &= is_green(green, rows[:, :, None], columns[:, None, :])
    return Windows(cut, use)


def _measured(
    cut: Windows, noise: float, spread: Array, half: int
) -> tuple[Array, Array, Array, Array, Array, Array]:
    light = np.where(cut.use, cut.light, 0).astype(float)
    light -= _rim_level(light, cut.use)
    light = np.where(cut.use, light, 0.0)
    flux, centre, moments, within = _moments(light, cut.use, spread, half)
    error = _ellipticity_error(noise, flux, centre, moments, within)
    across = peak_widths(light, cut.use, centre) if half >= _LARGE else np.full(len(flux), np.nan)
    return *centre.T, flux, moments, error, across


def _moments(
    light: Array, inside: npt.NDArray[np.bool_], spread: Array, half: int
) -> tuple[Array, Array, Array, npt.NDArray[np.bool_]]:
    """Light, centre (x, y), second moments (xx, xy, yy) in the ellipse that they make, and the ellipse's pixels."""
    span = np.arange(-half, half + 1, dtype=float)
    xx, xy, yy = spread[:, 0, 0] + 0.2, spread[:, 0, 1], spread[:, 1, 1] + 0.2
    cx = cy = np.zeros(len(light))
    for _ in range(_ROUNDS):
        form = squared_distance(span, np.stack([cx, cy], -1), np.stack([xx, xy, yy], -1))
        size = np.sqrt(np.maximum(xx * yy - xy * xy, 1e-3))
        within = inside & (form < (_REACH**2 * size)[:, None, None])
        shown = np.where(within, light, 0.0)
        across, down = shown.sum(axis=1), shown.sum(axis=2)
        flux = across.sum(axis=1)
        flux = np.where(flux > 0, flux, np.nan)
        cx, cy = across @ span / flux, down @ span / flux
        xx, yy = across @ span**2 / flux - cx * cx, down @ span**2 / flux - cy * cy
        xy = (shown @ span) @ span / flux - cx * cy
        xx, xy, yy = _bounded(xx, xy, yy, half)
    return flux, np.stack([cx, cy], axis=-1), np.stack([xx, xy, yy], axis=-1), within


def _ellipticity_error(
    noise: float, flux: Array, centre: Array, moments: Array, within: npt.NDArray[np.bool_]
) -> Array:
    half = within.shape[1] // 2
    span = np.arange(-half, half + 1)
    dx2, dy2 = ((span - c[:, None]) ** 2 for c in centre.T)
    # the sum of (dx^2 - dy^2)^2 over the pixels
    inner = within.astype(float)
    across, down = inner.sum(axis=1), inner.sum(axis=2)
    mixed = np.einsum("ni,nij,nj->n", dy2, inner, dx2)
    total = (across * dx2**2).sum(axis=1) + (down * dy2**2).sum(axis=1) - 2 * mixed
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(noise * np.sqrt(total) / (flux * (moments[:, 0] + moments[:, 2])))


def _rim_level(light: Array, inside: npt.NDArray[np.bool_]) -> Array:
    """Median of a window's outermost two rows and columns, shape (n, 1, 1)."""
    rim = np.zeros(light.shape[1:], dtype=bool)
    rim[:2], rim[-2:], rim[:, :2], rim[:, -2:] = True, True, True, True
    known = inside[:, rim]
    values = np.sort(np.where(known, light[:, rim], np.inf), axis=1)
    count = known.sum(axis=1)
    each = np.arange(len(values))
    middle = (values[each, np.maximum(count - 1, 0) // 2] + values[each, count // 2 * (count > 0)]) / 2
    return np.asarray(np.where(count > 0, middle, 0.0))[:, None, None]


def _bounded(xx: Array, xy: Array, yy: Array, half: int) -> tuple[Array, Array, Array]:
    """Keep an ellipse within its window and thicker than a pixel's own spread; NaN where it ran away."""
    most = ((half + 1) / 3.0) ** 2
    good = (xx > 0.05) & (yy > 0.05) & (xx < most) & (yy < most) & (xx * yy - xy * xy > 1e-3)
    return tuple(np.where(good, v, np.nan) for v in (xx, xy, yy))  # type: ignore[return-value]
