"""Bright stars of a large image, found on a small one: blocks of pixels tell where something stands out of the sky.

Only the pixels of those blocks are then looked at, as `bright_groups` looks at all of them. A star's light adds up in
its block, so what a pixel shows five times above the noise stands out there still more; only the faintest ones on the
borders of blocks are lost, for which a plate solver has no use.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.stars.finding import Groups, Sky, grouped, scatter
from polarcheck.stars.mosaic import Pixels

__all__ = ["bright_groups_by_blocks", "is_large", "parts_of"]

_SIDE = 4  # px: even, so that each block of a colour mosaic holds all colours
_LARGE = 8_000_000  # px: a smaller image is looked at as quickly
_STANDS_OUT = 3.0  # noise of a block
_MOST_BLOCKS = 60_000
_PARTS = 80  # of a frame: in a crowd the brightest of each part count


def is_large(image: Pixels) -> bool:
    """Return whether an image has so many pixels that blocks save time."""
    return image.size >= _LARGE


def parts_of(width: int, height: int) -> tuple[int, int]:
    """Return how many parts there are across and down a frame, each about a square."""
    side = np.sqrt(width * height / _PARTS)
    return max(1, round(width / side)), max(1, round(height / side))


def bright_groups_by_blocks(image: Pixels, sky: Sky, threshold: float) -> Groups:
    """Find connected pixels that stand out of the sky, in the blocks in which something does.

    Parameters
    ----------
    image : ndarray, shape (h, w)
        What lies in an incomplete block at its right and lower edges is not seen.
    sky : Sky
    threshold : float
        [sky noise]

    Returns
    -------
    Groups
    """
    blocks = _in_blocks(image)
    means = _means(image, blocks)
    level = _level(sky, means.shape)
    row, column = np.nonzero(_with_neighbours(_standing_out(means - level, sky.noise / _SIDE)))
    light = blocks[row, :, column, :] - level[row, column][:, None, None]
    at, i, j = np.nonzero(light > np.float32(threshold * sky.noise))
    flat = (row[at] * _SIDE + i) * image.shape[1] + column[at] * _SIDE + j
    order = np.argsort(flat)
    return grouped(flat[order], light[at, i, j][order].astype(float), image.shape[1])


def _in_blocks(image: Pixels) -> npt.NDArray[np.float32]:
    """The image as blocks, shape (m, side, n, side); no copy."""
    rows, columns = (size // _SIDE for size in image.shape)
    return image[: rows * _SIDE, : columns * _SIDE].reshape(rows, _SIDE, columns, _SIDE)


def _means(image: Pixels, blocks: npt.NDArray[np.float32]) -> Pixels:
    """Mean of each block; of one with pixels that are not numbers, of the others."""
    rows, _, columns, _ = blocks.shape
    with np.errstate(over="ignore", invalid="ignore"):
        sums = _every(_every(image[: rows * _SIDE, : columns * _SIDE]).T).T
        sums /= _SIDE**2
        spoilt = np.nonzero(~np.isfinite(sums))
        pixels = blocks[spoilt[0], :, spoilt[1], :]
        known = np.isfinite(pixels)
        sums[spoilt] = np.where(known, pixels, 0).sum(axis=(1, 2)) / known.sum(axis=(1, 2))
    return sums


def _every(rows: Pixels) -> Pixels:
    """Sums of rows, a block's side at a time."""
    total = rows[0::_SIDE] + rows[1::_SIDE]
    for k in range(2, _SIDE):
        total += rows[k::_SIDE]
    return np.asarray(total)


def _level(sky: Sky, shape: tuple[int, ...]) -> Pixels:
    """The sky at the middles of blocks."""
    middle = (_SIDE - 1) / 2
    small = Sky(sky.mesh, (sky.rows - middle) / _SIDE, (sky.columns - middle) / _SIDE, sky.noise)
    return small.strip(0, shape[0], shape[1])


def _standing_out(above: Pixels, least: float) -> npt.NDArray[np.bool_]:
    """Which blocks are brighter than noise makes them; where these are many, the brightest of each part."""
    noise = scatter(above[::_SIDE, ::_SIDE])  # as many tell it as pixels of a block
    found = np.asarray(above > np.float32(_STANDS_OUT * max(noise, least)))
    if found.sum() > _MOST_BLOCKS:
        across, down = parts_of(*above.shape[::-1])
        for rows in np.array_split(np.arange(len(above)), down):
            for columns in np.array_split(np.arange(above.shape[1]), across):
                part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
                found[part] &= above[part] >= _least_of_brightest(
                    above[part], _MOST_BLOCKS // (across * down)
                )
    return found


def _least_of_brightest(values: Pixels, count: int) -> np.float32:
    known = values[np.isfinite(values)]
    return np.float32(np.partition(known, -count)[-count] if len(known) > count else -np.inf)


def _with_neighbours(found: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Add the blocks around: a star's light does not end at the border of one."""
    wide = found.copy()
    wide[1:] |= found[:-1]
    wide[:-1] |= found[1:]
    whole = wide.copy()
    whole[:, 1:] |= wide[:, :-1]
    whole[:, :-1] |= wide[:, 1:]
    return whole
