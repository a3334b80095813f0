"""Stars of an image: found, measured, and told from hot pixels and saturated ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.stars.finding import Groups, Sky, bright_groups, sky_of
from polarcheck.stars.mosaic import Pixels, Plane, green_diagonal, one_plane
from polarcheck.stars.shapes import Shapes, measure_shapes, windows_around
from polarcheck.stars.sizes import widths_across
from polarcheck.vectors import Array

__all__ = ["StarTable", "find_stars"]

_THRESHOLD = 5.0  # sky noise, of a pixel
_SHAPE_PEAK = 20.0  # sky noise: a fainter star's shape is mostly noise
_CLIPPED = 5  # pixels that share the largest value: it is where the counts end
_LARGEST_PX = 40.0  # FWHM: what is larger is no star
_TOP, _FLAT, _FLAT_PIXELS = 2, 0.01, 3  # px around, part, number: a saturated star is flat on top
_ALONE = 4.0  # standard deviations: how near the edge spoils a shape, and, twice, another star
_TELL_MOSAIC = 200  # stars
_BRIGHTER = 0.03  # of its light, that a neighbour may have


@dataclass(frozen=True, slots=True)
class StarTable:
    """Stars, the brightest first.

    Attributes
    ----------
    x_px, y_px : ndarray, shape (n,)
        Centres of light; 0 is the centre of the first pixel. [px]
    flux, peak : ndarray, shape (n,)
        Light above the sky, in all and of the brightest pixel. [count]
    fwhm_px : ndarray, shape (n,)
        Full width at half maximum, geometric mean of both axes; NaN where it is not known. [px]
    across_px : ndarray, shape (n,)
        Full width at half maximum across the trail, likewise. [px]
    elongation : ndarray, shape (n,)
        Major over minor axis of the second moments, the sky's noise allowed for; NaN where it is not known.
    trail_angle_deg : ndarray, shape (n,)
        Direction of the major axis, from +x towards +y, within [0, 180). [deg]
    trail_px : ndarray, shape (n,)
        Length of an even trail that makes a round star so long. [px]
    ellipticity : ndarray, shape (n, 2)
        Second moments (xx - yy, 2 xy) over (xx + yy).
    is_saturated : ndarray, shape (n,)
    has_shape : ndarray, shape (n,)
        Whether its shape can be trusted: bright, not saturated, whole, and alone.
    width_px, height_px : int
        Size of the image. [px]
    sky_noise : float
        Standard deviation of a pixel of the sky. [count]
    """

    x_px: Array
    y_px: Array
    flux: Array
    peak: Array
    fwhm_px: Array
    across_px: Array
    elongation: Array
    trail_angle_deg: Array
    trail_px: Array
    ellipticity: Array
    is_saturated: npt.NDArray[np.bool_]
    has_shape: npt.NDArray[np.bool_]
    width_px: int
    height_px: int
    sky_noise: float

    def __len__(self) -> int:
        """Return the number of stars."""
        return len(self.x_px)


def find_stars(
    image: npt.NDArray[np.generic], *, mosaic: str | None = None, saturation: float | None = None
) -> StarTable:
    """Find and measure the stars of an image.

    Parameters
    ----------
    image : ndarray, shape (h, w) or (k, h, w)
        One plane, a colour mosaic, or colour planes. [count]
    mosaic : str, optional
        Order of the colours of a mosaic, such as ``"RGGB"``.
    saturation : float, optional
        Count from which a pixel is saturated; else stars that are flat on top at the image's largest value are.

    Returns
    -------
    StarTable
        Hot pixels are left out. Fluxes are of the plane that `polarcheck.stars.as_one_plane` makes.

    Notes
    -----
    Moments are those of the recorded image, the pixels' own width included. Of the width of a peak half the pixel's
    variance is taken off, since a frame does not tell whether its stars were integrated over pixels.
    """
    plane = one_plane(image, mosaic)
    sky = sky_of(plane)
    groups = bright_groups(plane.pixels, sky, _THRESHOLD)
    saturated = _saturated(image, sky, groups, saturation)
    if plane.green is None and np.ndim(image) == 2:
        plane = Plane(plane.pixels, _green_by_stars(plane.pixels, sky, groups, saturated))
    shapes = measure_shapes(plane.pixels, sky, groups, plane.green)
    good = _trusted(plane.pixels, sky, groups, shapes, saturated)
    order = np.argsort(-shapes.flux)
    return _table(plane, sky, groups, shapes, saturated, good, order)


def _green_by_stars(image: Pixels, sky: Sky, groups: Groups, saturated: npt.NDArray[np.bool_]) -> int | None:
    """Which pixels are green, where the light of stars on pixels of even and odd rows and columns tells a mosaic."""
    some = np.flatnonzero((groups.peak > _SHAPE_PEAK * sky.noise) & ~saturated)
    some = some[np.argsort(-groups.flux[some])][:_TELL_MOSAIC]
    if not len(some):
        return None
    x, y = np.rint(groups.x[some]), np.rint(groups.y[some])
    cut = windows_around(image, x, y, _TOP)
    whole = cut.use.all(axis=(1, 2))
    light = cut.light[whole].astype(float) - sky.at(x[whole], y[whole])[:, None, None]
    even = np.zeros((len(light), 2, 2))
    weight = np.array([0.5, 1.0, 1.0, 1.0, 0.5])  # pixels of both kinds count alike, across and down
    light *= weight[:, None] * weight
    for i in (0, 1):
        for j in (0, 1):
            even[:, i, j] = light[:, i::2, j::2].sum(axis=(1, 2))
    rows, columns = (y[whole].astype(int) - _TOP) % 2, (x[whole].astype(int) - _TOP) % 2
    k = np.arange(len(even))[:, None, None]
    i, j = (np.arange(2)[:, None] + rows[:, None, None]) % 2, (np.arange(2) + columns[:, None, None]) % 2
    return green_diagonal(even[k, i, j])


def _saturated(
    image: npt.NDArray[np.generic], sky: Sky, groups: Groups, saturation: float | None
) -> npt.NDArray[np.bool_]:
    """Which stars reach the level of saturation in any plane, or are flat on top as high as anything in the image."""
    if not len(groups.x):
        return np.zeros(0, dtype=bool)
    raw = np.asarray(image).max(axis=0) if np.ndim(image) == 3 else np.asarray(image)
    span = np.arange(-_TOP, _TOP + 1)
    rows = np.clip(np.rint(groups.y).astype(int)[:, None] + span, 0, raw.shape[0] - 1)
    columns = np.clip(np.rint(groups.x).astype(int)[:, None] + span, 0, raw.shape[1] - 1)
    middle = np.nan_to_num(raw[rows[:, :, None], columns[:, None, :]].reshape(len(rows), -1).astype(float))
    top = middle.max(axis=1)
    flat = (middle > top[:, None] - _FLAT * np.abs(top[:, None])).sum(axis=1) >= _FLAT_PIXELS
    found = flat & (top >= 0.97 * top.max()) & (groups.peak > 50 * sky.noise)
    if saturation is None and (raw == (most := np.nanmax(raw))).sum() >= _CLIPPED:
        saturation = float(most)
    return np.asarray(found if saturation is None else found | (top >= 0.98 * saturation))


def _trusted(
    plane: Pixels, sky: Sky, groups: Groups, shapes: Shapes, saturated: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    xx, _, yy = shapes.moments.T
    radius = np.sqrt(np.maximum(np.maximum(xx, yy), 0.3))
    height, width = plane.shape
    edge = np.minimum.reduce([shapes.x, shapes.y, width - 1 - shapes.x, height - 1 - shapes.y])
    with np.errstate(invalid="ignore"):
        bright = groups.peak > _SHAPE_PEAK * sky.noise
        whole = edge > _ALONE * radius
        moved = np.hypot(shapes.x - groups.x, shapes.y - groups.y) < radius
    known = np.isfinite(shapes.moments).all(axis=1) & np.isfinite(shapes.noise) & (shapes.flux > 0)
    return np.asarray(known & bright & whole & moved & ~saturated & _alone(shapes, radius))


def _alone(shapes: Shapes, radius: Array) -> npt.NDArray[np.bool_]:
    """Whether no other star in its ellipse's reach has more than a small part of a star's light."""
    from scipy.spatial import cKDTree

    alone = np.ones(len(radius), dtype=bool)
    if len(radius) < 2:
        return alone
    reach = 2 * _ALONE * np.nan_to_num(radius, nan=1.0)
    places = np.nan_to_num(np.stack([shapes.x, shapes.y], axis=-1))
    pairs = cKDTree(places).query_pairs(float(np.quantile(reach, 0.95)), output_type="ndarray")
    for i, j in (pairs.T, pairs.T[::-1]) if len(pairs) else ():
        xx, xy, yy = shapes.moments[i].T
        dx, dy = (places[i] - places[j]).T
        with np.errstate(invalid="ignore", divide="ignore"):
            apart = (yy * dx * dx - 2 * xy * dx * dy + xx * dy * dy) / (xx * yy - xy * xy)
        near = ~(apart > (2 * _ALONE) ** 2)
        alone[i[near & (shapes.flux[j] > _BRIGHTER * shapes.flux[i])]] = False
    return alone


def _table(
    plane: Plane,
    sky: Sky,
    groups: Groups,
    shapes: Shapes,
    saturated: npt.NDArray[np.bool_],
    good: npt.NDArray[np.bool_],
    order: npt.NDArray[np.int_],
) -> StarTable:
    xx, xy, yy = shapes.moments[order].T
    with np.errstate(invalid="ignore"):
        whole = xx + yy
        ellipticity = np.stack([(xx - yy) / whole, 2 * xy / whole], axis=-1)
        # noise alone makes a round star elongated; on average by its own variance
        raw = np.hypot(ellipticity[:, 0], ellipticity[:, 1])
        clean = np.sqrt(np.maximum(raw**2 - 2 * shapes.noise[order] ** 2, 0.0))
        elongation = np.sqrt((1 + clean) / (1 - clean))
        trail = np.sqrt(12 * whole * clean)
    every = np.empty(len(order), dtype=int)
    every[order] = np.arange(len(order))
    across = widths_across(plane, shapes, ellipticity[every], elongation[every], good)[order]
    kept = good[order] & ~(across > _LARGEST_PX)
    angle = np.degrees(np.arctan2(ellipticity[:, 1], ellipticity[:, 0])) / 2 % 180
    height, width = plane.pixels.shape
    return StarTable(
        x_px=shapes.x[order],
        y_px=shapes.y[order],
        flux=shapes.flux[order],
        peak=groups.peak[order],
        fwhm_px=np.where(kept, across * np.sqrt(elongation), np.nan),
        across_px=np.where(kept, across, np.nan),
        elongation=np.where(kept, elongation, np.nan),
        trail_angle_deg=np.where(kept, angle, np.nan),
        trail_px=np.where(kept, trail, np.nan),
        ellipticity=np.where(kept[:, None], ellipticity, np.nan),
        is_saturated=saturated[order],
        has_shape=kept,
        width_px=width,
        height_px=height,
        sky_noise=sky.noise,
    )
