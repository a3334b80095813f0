"""The sky under the stars, and groups of pixels that stand out of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.quiet import quiet
from polarcheck.stars.mosaic import Pixels, Plane
from polarcheck.vectors import Array

__all__ = ["Groups", "Sky", "bright_groups", "grouped", "scatter", "sky_of"]

_BOX = 50  # px of the thinned image: large against stars, small against gradients
_MOST_SAMPLED = 1_500_000  # px: every fourth pixel each way of a large image is plenty for its sky
# px: enough where the sky serves as a threshold only; more pixels, or smaller boxes, cost time and tell nothing new
_QUICK_SAMPLED, _QUICK_BOX = 200_000, 35
_MAD = 1.4826
_LEAST_NOISE = 1e-5  # of the level: single precision knows no better
_STRIP = 256  # rows worked on together
_LEAST_PIXELS = 4  # a hot pixel stands alone, a star does not
_THINNEST = 0.05  # px^2 of variance across: a hot column is thinner than any star
# light over peak: 1.6 for a star of FWHM 1.2 px; a hot pixel leaks a few percent into its neighbours
_SHARPEST = 1.4


@dataclass(frozen=True, slots=True)
class Sky:
    """The sky's level and noise.

    Attributes
    ----------
    mesh : ndarray, shape (m, n)
        Level at the centres of boxes. [count]
    rows, columns : ndarray
        Their places. [px]
    noise : float
        Standard deviation of a pixel. [count]
    """

    mesh: Array
    rows: Array
    columns: Array
    noise: float

    def strip(self, first: int, last: int, width: int) -> Pixels:
        """Level of the rows from first to last, shape (last - first, width)."""
        low, part = _between(np.arange(width), self.columns)
        along = (
            self.mesh[:, low] * (1 - part) + self.mesh[:, np.minimum(low + 1, len(self.columns) - 1)] * part
        )
        along = along.astype(np.float32)
        low, part = _between(np.arange(first, last), self.rows)
        down = part.astype(np.float32)[:, None]
        level = along[low] * (1 - down)
        level += along[np.minimum(low + 1, len(self.rows) - 1)] * down
        return np.asarray(level, dtype=np.float32)

    def at(self, x: Array, y: Array) -> Array:
        """Level at the nearest box centre, shape (n,)."""
        i = np.abs(self.rows[:, None] - y).argmin(axis=0)
        j = np.abs(self.columns[:, None] - x).argmin(axis=0)
        return np.asarray(self.mesh[i, j])


def _between(places: npt.NDArray[np.int_], centres: Array) -> tuple[npt.NDArray[np.int_], Array]:
    """Index of the centre before each place, and how far it is to the next; outside the outermost two go on straight."""
    if len(centres) < 2:
        return np.zeros(len(places), dtype=int), np.zeros(len(places))
    low = np.clip(np.searchsorted(centres, places) - 1, 0, len(centres) - 2)
    return low, (places - centres[low]) / (centres[low + 1] - centres[low])


def sky_of(plane: Plane, *, quick: bool = False) -> Sky:
    """Measure the sky with photutils, on an image thinned to a size at which that is quick.

    Parameters
    ----------
    plane : Plane
    quick : bool
        Whether fewer pixels and boxes will do.

    Returns
    -------
    Sky
    """
    from photutils.background import Background2D

    image = plane.pixels
    step = max(1, int(np.ceil(np.sqrt(image.size / (_QUICK_SAMPLED if quick else _MOST_SAMPLED)))))
    step += plane.green is not None and step % 2 == 0  # pixels of all colours
    thin = np.ascontiguousarray(image[::step, ::step])
    box = max(1, min(_QUICK_BOX if quick else _BOX, *thin.shape))
    if not np.isfinite(thin).any():
        return Sky(np.zeros((1, 1)), np.zeros(1), np.zeros(1), 1.0)
    with quiet():  # about pixels that are not numbers
        try:
            found = Background2D(
                thin,
                (box, box),
                mask=~np.isfinite(thin),
                exclude_percentile=90.0,
                filter_size=1 if quick else 3,
            )
        except ValueError:  # no box has enough pixels that are numbers
            known = thin[np.isfinite(thin)]
            return Sky(
                np.full((1, 1), np.median(known)), np.zeros(1), np.zeros(1), max(float(np.std(known)), 1e-6)
            )
    mesh = np.asarray(found.background_mesh, dtype=float)
    rows, columns = (_centres(size, box) for size in thin.shape)
    noise = float(found.background_rms_median)
    if quick:  # its boxes are so large that a slope in them would count as noise
        around = np.lib.stride_tricks.sliding_window_view(np.pad(mesh, 1, "edge"), (3, 3))
        mesh = np.median(around, axis=(2, 3))  # as photutils does, sooner
        noise = scatter(thin - Sky(mesh, rows, columns, noise).strip(0, *thin.shape))
    least = max(_LEAST_NOISE * float(np.abs(mesh).max()), _step(thin) / 2, 1e-6)
    return Sky(mesh, rows * step, columns * step, max(noise, least) if np.isfinite(noise) else least)


def _centres(size: int, box: int) -> Array:
    """Middles of boxes along a side; the last one may be cut off."""
    first = np.arange(0, size, box)
    return np.asarray((first + np.minimum(first + box, size) - 1) / 2)


def scatter(values: Pixels) -> float:
    """Return the robust standard deviation of what is left of a sky; 0 where nothing is known. [count]"""
    known = values[np.isfinite(values)]
    return 0.0 if not len(known) else _MAD * float(np.median(np.abs(known - np.median(known))))


def _step(image: Pixels) -> float:
    """Smallest step between the values of an image: noise below half of it is not seen. [count]"""
    values = np.unique(image[:: max(1, image.shape[0] // 100)])
    steps = np.diff(values[np.isfinite(values)])
    return float(steps.min()) if len(steps) else 0.0


@dataclass(frozen=True, slots=True)
class Groups:
    """Connected pixels above the sky.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        Centre of light. [px]
    size : ndarray, shape (n,)
        Pixels in it.
    peak : ndarray, shape (n,)
        Brightest pixel above the sky. [count]
    flux : ndarray, shape (n,)
        Sum above the sky, of these pixels only. [count]
    spread : ndarray, shape (n, 2, 2)
        Second moments of these pixels, too small for a faint star. [px^2]
    """

    x: Array
    y: Array
    size: npt.NDArray[np.int_]
    peak: Array
    flux: Array
    spread: Array


def bright_groups(image: Pixels, sky: Sky, threshold: float) -> Groups:
    """Find connected pixels that stand out of the sky by a threshold. [sky noise]

    Only the pixels that stand out are labelled, which for a large frame is much quicker than labelling the frame.
    """
    return grouped(*_bright_pixels(image, sky, threshold), image.shape[1])


def grouped(flat: npt.NDArray[np.int64], light: Array, width: int) -> Groups:
    """Bring together the pixels that touch; what is too small, too sharp or too thin for a star is left out.

    Parameters
    ----------
    flat : ndarray, shape (n,)
        Indices of pixels into the flattened image, in rising order.
    light : ndarray, shape (n,)
        Of each above the sky. [count]
    width : int
        Of the image. [px]

    Returns
    -------
    Groups
    """
    if not len(flat):
        none = np.zeros(0)
        return Groups(none, none, np.zeros(0, int), none, none, np.zeros((0, 2, 2)))
    label, count = _labelled(flat, width)
    y, x = np.divmod(flat, width)
    flux = np.bincount(label, light, count).astype(float)
    cx, cy = (np.bincount(label, light * v, count) / flux for v in (x, y))
    dx, dy = x - cx[label], y - cy[label]
    xx, xy, yy = (np.bincount(label, light * v, count) / flux for v in (dx * dx, dx * dy, dy * dy))
    peak = np.zeros(count)
    np.maximum.at(peak, label, light)
    size = np.bincount(label, minlength=count)
    thin = (xx + yy - np.hypot(xx - yy, 2 * xy)) / 2 < _THINNEST
    keep = (size >= _LEAST_PIXELS) & (flux > _SHARPEST * peak) & ~thin
    spread = np.stack([np.stack([xx, xy], -1), np.stack([xy, yy], -1)], -2)
    return Groups(cx[keep], cy[keep], size[keep], peak[keep], flux[keep], spread[keep])


def _bright_pixels(image: Pixels, sky: Sky, threshold: float) -> tuple[npt.NDArray[np.int64], Array]:
    """Flat indices of the pixels above the threshold, and their light above the sky."""
    height, width = image.shape
    indices, lights = [], []
    limit = np.float32(threshold * sky.noise)
    for first in range(0, height, _STRIP):
        last = min(first + _STRIP, height)
        above = image[first:last] - sky.strip(first, last, width)
        found = np.flatnonzero(above > limit)
        indices.append(found + first * width)
        lights.append(above.ravel()[found])
    return np.concatenate(indices), np.concatenate(lights).astype(float)


def _labelled(flat: npt.NDArray[np.int64], width: int) -> tuple[npt.NDArray[np.int_], int]:
    """Labels of pixels that touch by sides or corners; `flat` is in rising order."""
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import connected_components

    column = flat % width
    pairs = []
    for step, edge in ((1, width - 1), (width, -1), (width + 1, width - 1), (width - 1, 0)):
        at = np.searchsorted(flat, flat + step)
        at = np.minimum(at, len(flat) - 1)
        touch = (flat[at] == flat + step) & (column != edge)
        pairs.append(np.stack([np.flatnonzero(touch), at[touch]]))
    i, j = np.concatenate(pairs, axis=1).astype(np.int32)  # older libraries want no wider indices
    graph = csr_matrix((np.ones(len(i), dtype=bool), (i, j)), shape=(len(flat), len(flat)))
    count, label = connected_components(graph, directed=False)
    return label, int(count)
