"""How wide the stars of a frame are: which are fitted, with which form, and which widths mean nothing."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.constants import FWHM_PER_SIGMA
from polarcheck.stars.directions import common_direction
from polarcheck.stars.mosaic import Plane
from polarcheck.stars.profiles import (
    HALF_PIXEL,
    TOLD_APART,
    Cut,
    Form,
    Wings,
    fit_profiles,
    windows_for,
    wings_of,
)
from polarcheck.stars.shapes import Shapes, windows_around
from polarcheck.vectors import Array

__all__ = ["widths_across"]

_MOST = 200  # stars whose width is fitted, the brightest
_LONG = 1.08  # median elongation from which each star's own direction counts where they have none in common
_DRAWN_OUT = 1.3  # elongation from which the peak of a large star tells nothing of its width
_SMALLEST_WINGED_PX = 1.95  # below, pixels that integrate make stars with wings more than 5 % wider
# of the width that the moments give: Gaussian trails come out at 0.98 to 1.01, winged ones taken for such at 0.88
_MISSED_WINGS, _MISSED_TRAIL = 0.95, 1.0
# of the width that the second moments of a Gaussian have: wings make the moments larger, nothing makes them smaller
_NARROW, _WIDE = 0.4, 1.2
_CONTRADICTED = 0.5  # of the fitted stars
_DOUBT = 0.02  # relative standard error of the width by the choice of the wings, beyond which it is unknown


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
    with np.errstate(invalid="ignore"):
        is_whole = good & (
            elongation < _DRAWN_OUT
        )  # wings add up across a trail, by an amount that is not known
    found = np.where(is_whole, shapes.core_fwhm, np.nan)
    some = np.flatnonzero(good & np.isnan(shapes.core_fwhm))
    some = some[np.argsort(-shapes.flux[some])][:_MOST]
    if not len(some):
        return found
    form = _form(shapes, ellipticity, elongation, some)
    half = windows_for(form)
    fitted = np.full(len(some), np.nan)
    sizes, counts = np.unique(half[half > 0], return_counts=True)
    parts = [np.flatnonzero(half == size) for size in sizes]
    cuts = [_cut(plane, shapes, some[part], form.of(part)) for part in parts]
    wings = wings_of(cuts[int(np.argmax(counts))]) if len(cuts) else Wings(None)
    if wings.index is not None and form.trail_in_widths > TOLD_APART:
        return found
    for part, cut in zip(parts, cuts, strict=True):
        fitted[part] = fit_profiles(cut, wings.index)
    thick = FWHM_PER_SIGMA * form.sigma
    if wings.doubt > _DOUBT or (
        _hides_wings(fitted, form) if wings.index is not None else _has_missed_wings(fitted, form)
    ):
        return found
    with np.errstate(invalid="ignore"):
        agrees = (fitted > _NARROW * thick) & (fitted < _WIDE * thick)
    known = np.isfinite(fitted)
    if (known & ~agrees).sum() > _CONTRADICTED * known.sum():
        return found
    found[some] = np.where(agrees, fitted, np.nan)
    return found


def _hides_wings(fitted: Array, form: Form) -> bool:
    """Whether stars with wings are drawn out so far, or so small, that their width is not known to a few percent."""
    if not np.isfinite(fitted).any():
        return False
    width = float(np.nanmedian(fitted))
    return width < _SMALLEST_WINGED_PX or float(np.median(form.trail)) / width > TOLD_APART


def _has_missed_wings(fitted: Array, form: Form) -> bool:
    """Whether Gaussians, which fitted best, are narrower than the moments say: a trail's ends hide the wings."""
    known = np.isfinite(fitted)
    if not known.any() or np.median(form.trail) < _MISSED_TRAIL * np.median(fitted[known]):
        return False
    gaussian = FWHM_PER_SIGMA * np.sqrt(np.maximum(form.sigma**2 - HALF_PIXEL, 0.05))
    return bool(np.median(fitted[known] / gaussian[known]) < _MISSED_WINGS)


def _cut(plane: Plane, shapes: Shapes, some: npt.NDArray[np.int_], form: Form) -> Cut:
    x, y = shapes.x[some], shapes.y[some]
    cut = windows_around(plane.pixels, x, y, int(windows_for(form)[0]), plane.green)
    start = np.stack([x - np.rint(x), y - np.rint(y)], axis=-1)
    return Cut(np.where(cut.use, cut.light, 0.0).astype(float), cut.use, start, form)


def _form(shapes: Shapes, ellipticity: Array, elongation: Array, some: npt.NDArray[np.int_]) -> Form:
    """The trail that stars have in common; else each one's own, where they are long; else none."""
    xx, _, yy = shapes.moments[some].T
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
