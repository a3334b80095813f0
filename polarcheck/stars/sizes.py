"""How wide the stars of a frame are: which are fitted, with which form, and which widths mean nothing."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.stars.directions import common_direction
from polarcheck.stars.mosaic import Plane
from polarcheck.stars.profiles import Form, fit_profiles, windows_for
from polarcheck.stars.shapes import Shapes, windows_around
from polarcheck.vectors import Array

__all__ = ["widths_across"]

_MOST = 300  # stars whose width is fitted, the brightest
_UNSURE = 0.2  # relative standard error of a width that tells nothing
_LONG = 1.08  # median elongation from which each star's own direction counts where they have none in common
_FWHM_PER_SIGMA = 2 * np.sqrt(2 * np.log(2))
# of the width that the second moments of a Gaussian have: wings make the moments larger, nothing makes them smaller
_NARROW, _WIDE = 0.4, 1.2
_CONTRADICTED = 0.5  # of the fitted stars


def widths_across(
    plane: Plane, shapes: Shapes, ellipticity: Array, elongation: Array, good: npt.NDArray[np.bool_]
) -> Array:
    """Return full widths at half maximum across the stars' long axes.

    Parameters
    ----------
    plane : Plane
    shapes : Shapes
    ellipticity : ndarray, shape (n, 2)
        Second moments (xx - yy, 2 xy) over (xx + yy).
    elongation : ndarray, shape (n,)
        Major over minor axis, noise allowed for.
    good : ndarray, shape (n,)
        Whose shape can be trusted.

    Returns
    -------
    ndarray, shape (n,)
        NaN where it is not known: of faint ones of many, where a fit failed, and of all where most widths contradict
        the second moments. [px]
    """
    found = np.where(good, shapes.core_fwhm, np.nan)
    some = np.flatnonzero(good & np.isnan(shapes.core_fwhm))
    some = some[np.argsort(-shapes.flux[some])][:_MOST]
    if not len(some):
        return found
    form = _form(shapes, ellipticity, elongation, some)
    half = windows_for(form)
    fitted = np.full(len(some), np.nan)
    for size in np.unique(half[half > 0]):
        part = np.flatnonzero(half == size)
        fitted[part] = _fitted(plane, shapes, some[part], int(size), form.of(part))
    thick = _FWHM_PER_SIGMA * form.sigma
    with np.errstate(invalid="ignore"):
        agrees = (fitted > _NARROW * thick) & (fitted < _WIDE * thick)
    known = np.isfinite(fitted)
    if (known & ~agrees).sum() > _CONTRADICTED * known.sum():
        return found
    found[some] = np.where(agrees, fitted, np.nan)
    return found


def _fitted(plane: Plane, shapes: Shapes, some: npt.NDArray[np.int_], half: int, form: Form) -> Array:
    x, y = shapes.x[some], shapes.y[some]
    cut = windows_around(plane.pixels, x, y, half, plane.green)
    start = np.stack([x - np.rint(x), y - np.rint(y)], axis=-1)
    width, error = fit_profiles(np.where(cut.use, cut.light, 0.0), cut.use, start, form)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(error < _UNSURE * width, width, np.nan))


def _form(shapes: Shapes, ellipticity: Array, elongation: Array, some: npt.NDArray[np.int_]) -> Form:
    """The trail that stars have in common; else each one's own, where they are long; else none."""
    xx, xy, yy = shapes.moments[some].T
    own = ellipticity[some]
    _, _, is_common = common_direction(own)
    if is_common:
        used = np.broadcast_to(np.median(own, axis=0), own.shape)
    elif np.median(elongation[some]) > _LONG:
        long = elongation[some]
        size = (long**2 - 1) / (long**2 + 1)
        used = own * (size / np.maximum(np.hypot(*own.T), 1e-9))[:, None]
    else:
        used = np.zeros_like(own)
    part = np.hypot(used[:, 0], used[:, 1])
    whole = xx + yy
    sigma = np.sqrt(np.maximum(whole * (1 - part) / 2, 0.05))
    return Form(np.sqrt(12 * whole * part), np.arctan2(used[:, 1], used[:, 0]) / 2, sigma)
