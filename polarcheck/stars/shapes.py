"""Size and elongation of stars, many at once.

Second moments are taken in an ellipse of four standard deviations that grows with the star until both agree, so that
neither a threshold nor a weight makes them too small. The full width at half maximum comes from the peak itself (a
paraboloid through the logarithm of the light), so that faint wings do not widen it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.stars.finding import Groups, Sky
from polarcheck.stars.mosaic import Pixels
from polarcheck.vectors import Array

__all__ = ["Shapes", "measure_shapes"]

_REACH = 4.0  # standard deviations: beyond lie 0.3 % of a Gaussian's second moment
_ROUNDS = 5
_MOST = 600  # stars whose shape is measured
_LARGEST = 60  # px, half of the widest window
_WINDOWS = (8, 11, 15, 20, 27, 36, 47, _LARGEST)
_CORE, _SMALL_CORE = 0.4, 0.25  # of the peak: what counts as its shape, for wide stars and for narrow ones
_NARROW = 1.35  # px, standard deviation
_HALF_PIXEL = (
    1 / 24
)  # px^2: midway between a star integrated over the pixels and one sampled at their centres
_LEAST_CORE = 7  # pixels; six numbers are fitted
_FWHM_PER_SIGMA = 2 * np.sqrt(2 * np.log(2))


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
    core_fwhm : ndarray, shape (n, 2)
        Full width at half maximum along the longer and the shorter axis of the peak. [px]
    """

    x: Array
    y: Array
    flux: Array
    moments: Array
    noise: Array
    core_fwhm: Array


def measure_shapes(
    image: Pixels, sky: Sky, groups: Groups, green: npt.NDArray[np.bool_] | None = None
) -> Shapes:
    """Measure the shapes of the brightest groups of pixels.

    Parameters
    ----------
    image : ndarray, shape (h, w)
    sky : Sky
    groups : Groups
    green : ndarray, shape (h, w), optional
        The pixels that the peak's shape is taken from; all unless given.

    Returns
    -------
    Shapes
    """
    count = len(groups.x)
    x, y, flux = groups.x.copy(), groups.y.copy(), groups.flux.copy()
    moments, noise, core = np.full((count, 3), np.nan), np.full(count, np.nan), np.full((count, 2), np.nan)
    half = _half_windows(groups)
    half[np.argsort(-groups.flux)[_MOST:]] = 0  # fainter ones tell nothing more about shapes
    for size in _WINDOWS:
        some = np.flatnonzero(half == size)
        for first in range(0, len(some), 256):
            part = some[first : first + 256]
            cut, inside = _windows(image, groups.x[part], groups.y[part], size)
            use = None if green is None else _windows(green, groups.x[part], groups.y[part], size)[0]
            found = _measured(cut, inside, sky.noise, groups.spread[part], size, use)
            corner_x, corner_y = np.rint(groups.x[part]), np.rint(groups.y[part])
            x[part], y[part] = corner_x + found[0], corner_y + found[1]
            flux[part], moments[part], noise[part], core[part] = found[2:]
    return Shapes(x, y, flux, moments, noise, core)


def _half_windows(groups: Groups) -> npt.NDArray[np.int_]:
    """Half the side of each star's window: room for its ellipse and some sky around."""
    trace = groups.spread[:, 0, 0] + groups.spread[:, 1, 1]
    apart = np.hypot(groups.spread[:, 0, 0] - groups.spread[:, 1, 1], 2 * groups.spread[:, 0, 1])
    wanted = 5.5 * np.sqrt((trace + apart) / 2) + 2
    steps = np.array(_WINDOWS)
    return np.asarray(steps[np.minimum(np.searchsorted(steps, wanted), len(steps) - 1)])


def _windows(
    image: npt.NDArray[np.generic], x: Array, y: Array, half: int
) -> tuple[npt.NDArray[np.generic], npt.NDArray[np.bool_]]:
    """Square pieces around places, shape (n, s, s), and which of their pixels lie in the image and are numbers."""
    span = np.arange(-half, half + 1)
    rows = np.rint(y).astype(int)[:, None] + span
    columns = np.rint(x).astype(int)[:, None] + span
    height, width = image.shape
    cut = image[np.clip(rows, 0, height - 1)[:, :, None], np.clip(columns, 0, width - 1)[:, None, :]]
    inside = ((rows >= 0) & (rows < height))[:, :, None] & ((columns >= 0) & (columns < width))[:, None, :]
    return cut, inside & np.isfinite(cut)


def _measured(
    cut: npt.NDArray[np.generic],
    inside: npt.NDArray[np.bool_],
    noise: float,
    spread: Array,
    half: int,
    use: npt.NDArray[np.generic] | None,
) -> tuple[Array, Array, Array, Array, Array, Array]:
    span = np.arange(-half, half + 1, dtype=float)
    px, py = span[None, None, :], span[None, :, None]
    light = np.where(inside, cut, 0).astype(float)
    light -= _rim_level(light, inside)
    light = np.where(inside, light, 0.0)
    xx, xy, yy = spread[:, 0, 0] + 0.2, spread[:, 0, 1], spread[:, 1, 1] + 0.2
    cx = cy = np.zeros(len(cut))
    for _ in range(_ROUNDS):
        dx, dy = px - cx[:, None, None], py - cy[:, None, None]
        within = inside & _inside_ellipse(dx, dy, xx, xy, yy)
        shown = np.where(within, light, 0.0)
        flux = shown.sum(axis=(1, 2))
        with np.errstate(invalid="ignore", divide="ignore"):
            step_x, step_y = ((shown * d).sum(axis=(1, 2)) / flux for d in (dx, dy))
            parts = [(shown * d).sum(axis=(1, 2)) / flux for d in (dx * dx, dx * dy, dy * dy)]
        xx, xy, yy = parts[0] - step_x**2, parts[1] - step_x * step_y, parts[2] - step_y**2
        cx, cy = cx + step_x, cy + step_y
        xx, xy, yy = _bounded(xx, xy, yy, half)
    with np.errstate(invalid="ignore", divide="ignore"):
        error = noise * np.sqrt((within * (dx * dx - dy * dy) ** 2).sum(axis=(1, 2))) / (flux * (xx + yy))
    known = np.isfinite(cx + cy + xx + xy + yy)
    dx, dy = np.where(known[:, None, None], dx, 0.0), np.where(known[:, None, None], dy, 0.0)
    shape_of = inside if use is None else inside & use.astype(bool)
    narrow = ~((xx + yy) / 2 > _NARROW**2)
    core = _core(light, shape_of, dx, dy, np.where(narrow, _SMALL_CORE, _CORE))
    core[~known] = np.nan
    return cx, cy, flux, np.stack([xx, xy, yy], axis=-1), error, core


def _rim_level(light: Array, inside: npt.NDArray[np.bool_]) -> Array:
    """Median of a window's outermost two rows and columns, shape (n, 1, 1)."""
    rim = np.zeros(light.shape[1:], dtype=bool)
    rim[:2], rim[-2:], rim[:, :2], rim[:, -2:] = True, True, True, True
    values = np.where(inside[:, rim], light[:, rim], np.nan)
    values[~inside[:, rim].any(axis=1)] = 0.0
    return np.asarray(np.nanmedian(values, axis=1))[:, None, None]


def _inside_ellipse(dx: Array, dy: Array, xx: Array, xy: Array, yy: Array) -> npt.NDArray[np.bool_]:
    determinant = np.maximum(xx * yy - xy * xy, 1e-3)[:, None, None]
    form = yy[:, None, None] * dx * dx - 2 * xy[:, None, None] * dx * dy + xx[:, None, None] * dy * dy
    return np.asarray(form < _REACH**2 * determinant)


def _bounded(xx: Array, xy: Array, yy: Array, half: int) -> tuple[Array, Array, Array]:
    """Keep an ellipse within its window and thicker than a pixel's own spread; NaN where it ran away."""
    most = ((half + 1) / 3.0) ** 2
    good = (xx > 0.05) & (yy > 0.05) & (xx < most) & (yy < most) & (xx * yy - xy * xy > 1e-3)
    return tuple(np.where(good, v, np.nan) for v in (xx, xy, yy))  # type: ignore[return-value]


def _core(light: Array, use: npt.NDArray[np.bool_], dx: Array, dy: Array, share: Array) -> Array:
    """Full widths at half maximum of the peak, longer and shorter, shape (n, 2). [px]

    A Gaussian's logarithm is a paraboloid; least squares with weights of the light squared, which is what equal
    noise of the pixels asks for.
    """
    peak = np.where(use, light, -np.inf).max(axis=(1, 2))
    near = dx * dx + dy * dy < (light.shape[1] / 3) ** 2
    with np.errstate(invalid="ignore"):
        on = use & near & (light > (share * peak)[:, None, None]) & (peak[:, None, None] > 0)
    weight = np.where(on, light, 0.0) ** 2
    value = np.log(np.where(on, light, 1.0) / np.where(peak > 0, peak, 1.0)[:, None, None])
    one = np.ones(np.broadcast(dx, dy).shape)
    terms = np.stack([one, dx * one, dy * one, dx * dx * one, dx * dy, dy * dy * one], axis=1).reshape(
        len(light), 6, -1
    )
    weighted = terms * weight.reshape(len(light), 1, -1)
    normal = weighted @ terms.swapaxes(1, 2)
    right = weighted @ value.reshape(len(light), -1, 1)
    scale = np.trace(normal, axis1=1, axis2=2)[:, None, None] / 6 + 1e-30
    fit = np.linalg.pinv(normal / scale, rcond=1e-12, hermitian=True) @ (right / scale)
    a, b, c = -fit[:, 3, 0], -fit[:, 4, 0], -fit[:, 5, 0]
    middle, apart = a + c, np.hypot(a - c, b)
    with np.errstate(invalid="ignore", divide="ignore"):
        # exp(-k r^2) has the variance 1 / (2 k)
        widths = np.stack([1 / (middle - apart), 1 / (middle + apart)], axis=-1)
        widths = np.where(widths > _HALF_PIXEL, widths - _HALF_PIXEL, np.nan)
    found = _FWHM_PER_SIGMA * np.sqrt(widths)
    enough = on.sum(axis=(1, 2)) >= _LEAST_CORE
    return np.where(enough[:, None], found, np.nan)
