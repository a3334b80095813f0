"""Full widths at half maximum from the peaks of stars, many at once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.constants import FWHM_PER_SIGMA
from polarcheck.vectors import Array

__all__ = ["peak_widths", "squared_distance"]

_CORE = 0.5  # of the peak: what counts as its shape


def peak_widths(light: Array, use: npt.NDArray[np.bool_], centre: Array) -> Array:
    """Measure widths of stars in square windows.

    A Gaussian's logarithm is a paraboloid; least squares with weights of the light squared, which is what equal
    noise of the pixels asks for.

    Parameters
    ----------
    light : ndarray, shape (n, s, s)
        Above the sky. [count]
    use : ndarray, shape (n, s, s)
        Which pixels count.
    centre : ndarray, shape (n, 2)
        x and y from the window's middle; NaN where not known. [px]

    Returns
    -------
    ndarray, shape (n,)
        Full width at half maximum along the shorter axis of the peak, the pixels' own width included; NaN where it
        could not be found. [px]
    """
    half = light.shape[1] // 2
    span = np.arange(-half, half + 1, dtype=float)
    at = np.nan_to_num(centre)
    dx, dy = (span - at[:, 0, None])[:, None, :], (span - at[:, 1, None])[:, :, None]
    on, weight, value = _bright(light, use)
    one = np.ones(light.shape)
    terms = np.stack([one, dx * one, dy * one, dx * dx * one, dx * dy, dy * dy * one], axis=1)
    fit = _fitted(terms, weight, value)
    a, b, c = -fit[:, 3], -fit[:, 4], -fit[:, 5]
    with np.errstate(invalid="ignore", divide="ignore"):
        width = 1 / (a + c + np.hypot(a - c, b))  # exp(-k r^2) has the variance 1 / (2 k)
        found = FWHM_PER_SIGMA * np.sqrt(np.where(width > 0, width, np.nan))
    return np.where(on.sum(axis=(1, 2)) > terms.shape[1], found, np.nan)


def squared_distance(span: Array, centre: Array, moments: Array) -> Array:
    """Squared distances of a window's pixels in units in which each star is round, of the same area, (n, s, s). [px^2]"""
    xx, xy, yy = moments.T
    size = np.sqrt(np.maximum(xx * yy - xy * xy, 1e-3))
    a, b, c = (v[:, None, None] for v in (yy / size, 2 * xy / size, xx / size))
    dx, dy = (span - centre[:, 0, None])[:, None, :], (span - centre[:, 1, None])[:, :, None]
    return np.asarray((a * dx - b * dy) * dx + c * dy * dy)


def _bright(light: Array, use: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.bool_], Array, Array]:
    """Pixels of the peak, their weights, and the logarithm of their light over the peak's."""
    peak = np.where(use, light, -np.inf).max(axis=(1, 2))[:, None, None]
    with np.errstate(invalid="ignore"):
        on = use & (light > _CORE * peak) & (peak > 0)
    value = np.log(np.where(on, light, 1.0) / np.where(peak > 0, peak, 1.0))
    # relative to the peak, so that the sums keep their digits
    return on, np.where(on, light / np.where(peak > 0, peak, 1.0), 0.0) ** 2, value


def _fitted(terms: Array, weight: Array, value: Array) -> Array:
    """Weighted least squares for many stars at once; terms (n, k, s, s), the rest (n, s, s); the result (n, k)."""
    count, number = terms.shape[:2]
    flat = terms.reshape(count, number, -1)
    weighted = flat * weight.reshape(count, 1, -1)
    normal = weighted @ flat.swapaxes(1, 2)
    right = weighted @ value.reshape(count, -1, 1)
    scale = np.trace(normal, axis1=1, axis2=2)[:, None, None] / number + 1e-30
    solved = np.linalg.pinv(normal / scale, rcond=1e-12, hermitian=True) @ (right / scale)
    return np.asarray(solved[..., 0])
