"""The sky under the stars, and groups of pixels that stand out of it."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.stars.mosaic import Pixels, Plane
from polarcheck.vectors import Array

__all__ = ["Groups", "Sky", "bright_groups", "sky_of"]

_BOX = 50  # px of the thinned image: large against stars, small against gradients
_MOST_SAMPLED = 1_500_000  # px: every fourth pixel each way of a large image is plenty for its sky
_LEAST_NOISE = 1e-5  # of the level: single precision knows no better
_STRIP = 256  # rows worked on together
_LEAST_PIXELS = 4  # a hot pixel stands alone, a star does not
_THINNEST = 0.05  # px^2 of variance across: a hot column is thinner than any star
_SHARPEST = (
    1.4  # light over peak: 1.6 for a star of FWHM 1.2 px; a hot pixel leaks a few percent into its neighbours
)


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
        along = np.array(
            [np.interp(np.arange(width), self.columns, row) for row in self.mesh], dtype=np.float32
        )
        place = np.clip(
            np.interp(np.arange(first, last), self.rows, np.arange(len(self.rows))), 0, len(self.rows) - 1
        )
        low = np.minimum(place.astype(int), max(len(self.rows) - 2, 0))
        high = np.minimum(low + 1, len(self.rows) - 1)
        part = (place - low).astype(np.float32)[:, None]
        level = along[low] * (1 - part)
        level += along[high] * part
        return np.asarray(level, dtype=np.float32)

    def at(self, x: Array, y: Array) -> Array:
        """Level at the nearest box centre, shape (n,)."""
        i = np.abs(self.rows[:, None] - y).argmin(axis=0)
        j = np.abs(self.columns[:, None] - x).argmin(axis=0)
        return np.asarray(self.mesh[i, j])


def sky_of(plane: Plane) -> Sky:
    """Measure the sky with photutils, on an image thinned to a size at which that is quick."""
    from photutils.background import Background2D

    image = plane.pixels
    step = max(1, int(np.ceil(np.sqrt(image.size / _MOST_SAMPLED))))
    step += plane.green is not None and step % 2 == 0  # pixels of all colours
    thin = image[::step, ::step]
    box = max(1, min(_BOX, *thin.shape))
    if not np.isfinite(thin).any():
        return Sky(np.zeros((1, 1)), np.zeros(1), np.zeros(1), 1.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of pixels that are not numbers
        try:
            found = Background2D(thin, (box, box), mask=~np.isfinite(thin), exclude_percentile=90.0)
        except ValueError:  # no box has enough pixels that are numbers
            known = thin[np.isfinite(thin)]
            return Sky(
                np.full((1, 1), np.median(known)), np.zeros(1), np.zeros(1), max(float(np.std(known)), 1e-6)
            )
    mesh = np.asarray(found.background_mesh, dtype=float)
    rows = ((np.arange(mesh.shape[0]) + 0.5) * box - 0.5) * step
    columns = ((np.arange(mesh.shape[1]) + 0.5) * box - 0.5) * step
    noise = float(found.background_rms_median)
    least = max(_LEAST_NOISE * float(np.abs(mesh).max()), _step(thin) / 2, 1e-6)
    return Sky(mesh, rows, columns, max(noise, least) if np.isfinite(noise) else least)


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
    flat, light = _bright_pixels(image, sky, threshold)
    if not len(flat):
        none = np.zeros(0)
        return Groups(none, none, np.zeros(0, int), none, none, np.zeros((0, 2, 2)))
    label, count = _labelled(flat, image.shape[1])
    y, x = np.divmod(flat, image.shape[1])
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
