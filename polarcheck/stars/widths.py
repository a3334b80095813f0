"""Full widths at half maximum from the peaks of stars, many at once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["peak_widths", "squared_distance"]

_CORE, _SMALL_CORE = 0.4, 0.25  # of the peak: what counts as its shape, for wide stars and for narrow ones
_NEAR = 2.5  # standard deviations across: the ends of a trail are no part of its width
_NARROW = 1.35  # px, standard deviation
_PROFILE, _SMALL_PROFILE = 0.25, 0.15  # of the peak: what counts as a round star's profile, likewise
_SMALL = 1.1  # px, standard deviation
_LEAST_CORE, _LEAST_PROFILE = 7, 5  # pixels; six and three numbers are fitted
# px^2 of variance: midway between a star integrated over the pixels and one sampled at their centres
_HALF_PIXEL = 1 / 24
# px^2 of FWHM^2 of a profile with wings, for each unit of its curvature: measured on drawn Moffat profiles, likewise
_HALF_PIXEL_WINGS = 1.8
_FWHM_PER_SIGMA = 2 * np.sqrt(2 * np.log(2))


def peak_widths(
    light: Array, use: npt.NDArray[np.bool_], centre: Array, moments: Array
) -> tuple[Array, Array]:
    """Measure widths of stars in square windows.

    Parameters
    ----------
    light : ndarray, shape (n, s, s)
        Above the sky. [count]
    use : ndarray, shape (n, s, s)
        Which pixels count.
    centre : ndarray, shape (n, 2)
        x and y from the window's middle; NaN where not known. [px]
    moments : ndarray, shape (n, 3)
        Second moments xx, xy, yy; NaN where not known. [px^2]

    Returns
    -------
    ndarray, shape (n,)
        Width along the shorter axis of the peak: a trailed star's own. [px]
    ndarray, shape (n,)
        Geometric mean of the widths of a star without a trail. [px]
    """
    middle = light.shape[1] // 2
    reach = min(middle, light.shape[1] // 3 + 1)
    inner = slice(middle - reach, middle + reach + 1)
    light, use = light[:, inner, inner], use[:, inner, inner]
    span = np.arange(-reach, reach + 1, dtype=float)
    known = np.isfinite(np.concatenate([centre, moments], axis=1)).all(axis=1, keepdims=True)
    at = np.where(known, centre, 0.0)
    shape = np.where(known, moments, [1.0, 0.0, 1.0])
    variance = np.where(known[:, 0], (shape[:, 0] + shape[:, 2]) / 2, 0.0)
    apart = np.hypot(shape[:, 0] - shape[:, 2], 2 * shape[:, 1])
    near = 1 + _NEAR * np.sqrt(np.maximum((shape[:, 0] + shape[:, 2] - apart) / 2, 0.0))
    core = np.where(variance > _NARROW**2, _CORE, _SMALL_CORE)
    across = _across(light, use, span, at, core, near)
    share = np.where(variance > _SMALL**2, _PROFILE, _SMALL_PROFILE)
    whole = _round_width(light, use, squared_distance(span, at, shape), share)
    return across, np.where(known[:, 0], whole, np.nan)


def squared_distance(span: Array, centre: Array, moments: Array) -> Array:
    """Squared distances of a window's pixels in units in which each star is round, of the same area, (n, s, s). [px^2]"""
    xx, xy, yy = moments.T
    size = np.sqrt(np.maximum(xx * yy - xy * xy, 1e-3))
    a, b, c = (v[:, None, None] for v in (yy / size, 2 * xy / size, xx / size))
    dx, dy = (span - centre[:, 0, None])[:, None, :], (span - centre[:, 1, None])[:, :, None]
    return np.asarray((a * dx - b * dy) * dx + c * dy * dy)


def _across(
    light: Array, use: npt.NDArray[np.bool_], span: Array, centre: Array, share: Array, near: Array
) -> Array:
    """Full width at half maximum of the peak along its shorter axis, shape (n,). [px]

    A Gaussian's logarithm is a paraboloid; least squares with weights of the light squared, which is what equal
    noise of the pixels asks for.
    """
    dx, dy = (span - centre[:, 0, None])[:, None, :], (span - centre[:, 1, None])[:, :, None]
    is_near = dx * dx + dy * dy < near[:, None, None] ** 2
    on, weight, value = _bright(light, use & is_near, share)
    one = np.ones(light.shape)
    terms = np.stack([one, dx * one, dy * one, dx * dx * one, dx * dy, dy * dy * one], axis=1)
    fit = _fitted(terms, weight, value)
    a, b, c = -fit[:, 3], -fit[:, 4], -fit[:, 5]
    with np.errstate(invalid="ignore", divide="ignore"):
        width = 1 / (a + c + np.hypot(a - c, b))  # exp(-k r^2) has the variance 1 / (2 k)
        found = _FWHM_PER_SIGMA * np.sqrt(np.where(width > _HALF_PIXEL, width - _HALF_PIXEL, np.nan))
    return np.where(on.sum(axis=(1, 2)) >= _LEAST_CORE, found, np.nan)


def _round_width(light: Array, use: npt.NDArray[np.bool_], form: Array, share: Array) -> Array:
    """Where a profile passes half of its height, as full width, shape (n,). [px]

    The logarithm of the light as a parabola of the squared distance: a line for a Gaussian, bent by a star's wings.
    """
    is_near = form < (light.shape[1] / 2) ** 2
    on, weight, value = _bright(light, use & is_near, share)
    fit = _fitted(np.stack([np.ones(form.shape), form, form * form], axis=1), weight, value)
    slope, bend = -fit[:, 1], fit[:, 2]
    with np.errstate(invalid="ignore", divide="ignore"):
        half = 2 * np.log(2) / (slope + np.sqrt(np.maximum(slope**2 - 4 * bend * np.log(2), 0.0)))
        wings = np.clip(bend * half / slope, 0.0, 0.15)
        square = 4 * half - _FWHM_PER_SIGMA**2 * _HALF_PIXEL - _HALF_PIXEL_WINGS * wings
        found = np.sqrt(np.where((slope > 0) & (square > 0.2), square, np.nan))
    return np.where(on.sum(axis=(1, 2)) >= _LEAST_PROFILE, found, np.nan)


def _bright(
    light: Array, use: npt.NDArray[np.bool_], share: Array
) -> tuple[npt.NDArray[np.bool_], Array, Array]:
    """Pixels above a share of the peak, their weights, and the logarithm of their light over the peak's."""
    peak = np.where(use, light, -np.inf).max(axis=(1, 2))[:, None, None]
    with np.errstate(invalid="ignore"):
        on = use & (light > share[:, None, None] * peak) & (peak > 0)
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
