"""A star list for a plate solver: bright first, spread over the frame, without trails and hot pixels."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from polarcheck.stars.blocks import bright_groups_by_blocks, is_large, parts_of
from polarcheck.stars.finding import Groups, Sky, bright_groups, sky_of
from polarcheck.stars.mosaic import Pixels, Plane, one_plane
from polarcheck.stars.rows import in_a_row
from polarcheck.stars.shapes import measure_shapes
from polarcheck.vectors import Array

__all__ = ["StarList", "list_stars"]

_THRESHOLD = 5.0  # sky noise, of a pixel
_MOST = 500  # what solvers look at, and enough for a fit
_ENOUGH = 12  # with fewer, the faintest count too
_LONG, _LONG_PX = 3.0, 4.0  # longer than most, and in standard deviations of light: a trail
_WIDE = 4.0  # times the usual width: a nebula, the Moon, a ghost
_MOVED_PX = 3.0
_ALIKE = 1e-6
_ROWS = 100  # that are looked at for that first; all where these are alike
_FULL = 0.5  # of the pixels at the largest value


@dataclass(frozen=True, slots=True)
class StarList:
    """Stars of a frame in the order in which a solver is to take them.

    Attributes
    ----------
    pixels : ndarray, shape (n, 2)
        Centres of light, 0-based. [px]
    flux : ndarray, shape (n,)
        [count]
    width_px, height_px : int
        Size of the image. [px]
    width_of_stars_px : float or None
        Median full width at half maximum, roughly; None without stars. [px]
    long_share : float
        Part of what stands out of the sky that is long.
    is_blank : bool
        Whether all pixels are alike.
    is_overexposed : bool
        Whether most pixels have the largest value.
    """

    pixels: Array
    flux: Array
    width_px: int
    height_px: int
    width_of_stars_px: float | None
    long_share: float
    is_blank: bool
    is_overexposed: bool

    def __len__(self) -> int:
        """Return the number of stars."""
        return len(self.flux)


def list_stars(image: npt.NDArray[np.generic], *, mosaic: str | None = None) -> StarList:
    """List the stars of an image for a plate solver.

    Parameters
    ----------
    image : ndarray, shape (h, w) or (k, h, w)
        One plane, a colour mosaic, or colour planes. [count]
    mosaic : str, optional
        Order of the colours of a mosaic, such as ``"RGGB"``.

    Returns
    -------
    StarList
        At most 500, the brightest of each part of the frame first.
    """
    whole = one_plane(image, mosaic)
    plane = whole.pixels
    height, width = plane.shape
    blank, full = _is_empty(plane)
    none = np.zeros(0)
    if blank or full:
        return StarList(np.zeros((0, 2)), none, width, height, None, 0.0, blank, full)
    found = _listed(whole, quick=True) if is_large(plane) else None
    return found if found is not None and len(found) >= _ENOUGH else _listed(whole, quick=False)


def _listed(whole: Plane, *, quick: bool) -> StarList:
    plane = whole.pixels
    height, width = plane.shape
    sky = sky_of(whole, quick=quick)
    groups = (bright_groups_by_blocks if quick else bright_groups)(plane, sky, _THRESHOLD)
    long, wide = _not_stars(groups)
    some = _spread(groups, ~(long | wide), width, height)[: 2 * _MOST]
    pieces = in_a_row(np.stack([groups.x[some], groups.y[some]], axis=-1), float(np.hypot(width, height)))
    some = some[~pieces][:_MOST]
    x, y, flux, fwhm = _centred(plane, sky, _chosen(groups, some))
    share = float(long.mean()) if len(long) else 0.0
    return StarList(np.stack([x, y], axis=-1), flux, width, height, fwhm, share, False, False)


def _is_empty(plane: Pixels) -> tuple[bool, bool]:
    """Whether all pixels are alike, and whether most have the largest value, which some rows tell."""
    blank, full = _alike(plane[:: max(1, len(plane) // _ROWS)])
    return blank and _alike(plane)[0], full  # a sky cut off at zero is alike between its stars


def _alike(rows: Pixels) -> tuple[bool, bool]:
    known = rows[np.isfinite(rows)]
    if not known.size:
        return True, False
    low, high = float(known.min()), float(known.max())
    blank = high - low <= _ALIKE * max(abs(low), abs(high))
    return blank, not blank and float((known >= high).mean()) > _FULL


def _chosen(groups: Groups, some: npt.NDArray[np.int_]) -> Groups:
    return Groups(*(getattr(groups, field.name)[some] for field in fields(groups)))


def _not_stars(groups: Groups) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Which groups are longer than the others, as a satellite's trail, and which are far larger."""
    if not len(groups.x):
        none = np.zeros(0, dtype=bool)
        return none, none
    minor, major = np.sqrt(np.maximum(np.linalg.eigvalsh(groups.spread), 0.01)).T
    bright = groups.flux >= np.quantile(groups.flux, 0.5)
    usual_length, usual_width = float(np.median((major / minor)[bright])), float(np.median(minor[bright]))
    long = (major / minor > _LONG * max(usual_length, 1.0)) & (major > _LONG_PX)
    return long, minor > _WIDE * max(usual_width, 1.0)


def _spread(groups: Groups, good: npt.NDArray[np.bool_], width: int, height: int) -> npt.NDArray[np.int_]:
    """Indices of stars: of each part of the frame the brightest, then the second of each, and so on."""
    some = np.flatnonzero(good)
    some = some[np.argsort(-groups.flux[some], kind="stable")]
    columns, rows = parts_of(width, height)
    column = np.clip((groups.x[some] / width * columns).astype(int), 0, columns - 1)
    row = np.clip((groups.y[some] / height * rows).astype(int), 0, rows - 1)
    cell = row * columns + column
    by_cell = np.argsort(cell, kind="stable")
    first = np.searchsorted(cell[by_cell], cell)
    place = np.empty(len(some), dtype=int)
    place[by_cell] = np.arange(len(some))
    return np.asarray(some[np.argsort(place - first, kind="stable")])


def _centred(plane: Pixels, sky: Sky, groups: Groups) -> tuple[Array, Array, Array, float | None]:
    """Centres of light from whole stars; where a neighbour drew one away, that of the bright pixels."""
    if not len(groups.x):
        none = np.zeros(0)
        return none, none, none, None
    shapes = measure_shapes(plane, sky, groups)
    moved = ~(np.hypot(shapes.x - groups.x, shapes.y - groups.y) < _MOVED_PX)
    x, y = np.where(moved, groups.x, shapes.x), np.where(moved, groups.y, shapes.y)
    xx, xy, yy = shapes.moments[np.isfinite(shapes.moments).all(axis=1)].T
    thin = (xx + yy - np.hypot(xx - yy, 2 * xy)) / 2
    square = float(np.median(thin)) if len(thin) else float(np.median(groups.size) / np.pi)
    fwhm = 2.355 * float(np.sqrt(max(square, 0.0)))
    return x, y, np.where(np.isfinite(shapes.flux), shapes.flux, groups.flux), fwhm
