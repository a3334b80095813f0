"""Which stars of one frame are which of another, for frames of one camera however it was turned and shifted.

Nothing is guessed: the distances between bright stars are the same in both frames, each pair of equal distances votes
for a turn and a shift, and the best ones are tested with all stars. What agrees is weighed against chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["StarPairs", "nearest_pairs", "pair_stars"]

_BRIGHT = 50  # stars that vote: the votes grow as the fourth power
_NOISE_PX, _STRETCH = (
    1.0,
    3e-4,
)  # how near a star must come to its partner; and, of the diagonal, by refraction
_LEAST_PAIRS = 5
_CHANCE = 1e-3  # that one of all turns and shifts there are agrees as well by chance


@dataclass(frozen=True, slots=True)
class StarPairs:
    """The same stars in two frames.

    Attributes
    ----------
    first, second : ndarray of int, shape (k,)
        Indices into both lists, each used once.
    turn : float
        From +x towards +y, about the image's centre, from the first frame to the second. [rad]
    shift : ndarray, shape (2,)
        After the turn. [px]
    """

    first: npt.NDArray[np.int_]
    second: npt.NDArray[np.int_]
    turn: float
    shift: Array


@dataclass(frozen=True, slots=True)
class _Frame:
    """What the size of frames says of distances in them."""

    size: Array

    @property
    def diagonal(self) -> float:
        return float(np.hypot(*self.size))

    @property
    def near(self) -> float:
        """How near a star must come to its partner. [px]"""
        return _NOISE_PX + _STRETCH * self.diagonal

    @property
    def cell(self) -> float:
        """Of votes, and how near a partner must come by them. [px]"""
        return 2 * self.near

    @property
    def possible(self) -> float:
        """How many turns and shifts can be told apart."""
        return float(np.prod(2 * self.size / self.cell)) * max(np.pi * self.diagonal / self.cell, 1.0)


def pair_stars(first: Array, second: Array, size_px: tuple[int, int]) -> StarPairs | None:
    """Find the same stars in two frames of one camera.

    Parameters
    ----------
    first, second : ndarray, shape (n, 2), (m, 2)
        Places of stars, the brightest first. [px]
    size_px : tuple of int
        Width and height of the frames. [px]

    Returns
    -------
    StarPairs or None
        None where no more agree than chance would have it.
    """
    frame = _Frame(np.array(size_px, dtype=float))
    a, b = (places - (frame.size - 1) / 2 for places in (first, second))
    if min(len(a), len(b)) < _LEAST_PAIRS:
        return None
    best, least = None, _CHANCE / frame.possible
    for turn, shift in _candidates(a[:_BRIGHT], b[:_BRIGHT], frame):
        found, chance = _tested(a, b, turn, shift, frame)
        if found is not None and chance < least:
            best, least = found, chance
        elif (
            found is not None and best is not None and chance == least and len(found.first) > len(best.first)
        ):
            best = found
    return best


def _candidates(a: Array, b: Array, frame: _Frame) -> list[tuple[float, Array]]:
    """Turns and shifts for which the most pairs of stars vote, the best first."""
    mine, theirs = _segments(a), _segments(b)
    theirs = theirs[np.argsort(np.hypot(*(theirs[:, 2:]).T))]
    long_a, long_b = np.hypot(*mine[:, 2:].T), np.hypot(*theirs[:, 2:].T)
    low, high = np.searchsorted(long_b, long_a - frame.near), np.searchsorted(long_b, long_a + frame.near)
    count = high - low
    if not count.sum():
        return []
    i = np.repeat(np.arange(len(mine)), count)
    j = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(low, count)
    turn = np.arctan2(theirs[j, 3], theirs[j, 2]) - np.arctan2(mine[i, 3], mine[i, 2])
    turn = np.concatenate([turn, turn + np.pi])  # either end of the one may be either end of the other
    middle, there = np.tile(mine[i, :2], (2, 1)), np.tile(theirs[j, :2], (2, 1))
    c, s = np.cos(turn), np.sin(turn)
    shift = there - np.stack(
        [c * middle[:, 0] - s * middle[:, 1], s * middle[:, 0] + c * middle[:, 1]], axis=-1
    )
    return _most_voted(turn, shift, frame)


def _segments(places: Array) -> Array:
    """Middle and vector of each pair of stars, shape (k, 4)."""
    i, j = np.triu_indices(len(places), 1)
    return np.concatenate([(places[i] + places[j]) / 2, places[j] - places[i]], axis=-1)


def _most_voted(turn: Array, shift: Array, frame: _Frame) -> list[tuple[float, Array]]:
    step = 2 * frame.cell / frame.diagonal
    rounds = max(round(2 * np.pi / step), 1)
    cells = np.rint(np.concatenate([(turn % (2 * np.pi) / step)[:, None], shift / frame.cell], axis=-1))
    cells = cells.astype(np.int64)
    cells[:, 0] %= rounds
    wide = 4 * int(frame.diagonal / frame.cell) + 8
    key = (cells[:, 0] * wide + cells[:, 1] + wide // 2) * wide + cells[:, 2] + wide // 2
    _, first, inverse, votes = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
    found = []
    for cell in np.argsort(-votes, kind="stable")[: 2**3]:  # so many share what lies on a corner of cells
        some = inverse == cell
        around = turn[first[cell]]
        mean = around + np.mean(np.angle(np.exp(1j * (turn[some] - around))))
        found.append((float(mean), np.asarray(shift[some].mean(axis=0))))
    return found


def _tested(a: Array, b: Array, turn: float, shift: Array, frame: _Frame) -> tuple[StarPairs | None, float]:
    """All stars that agree with a turn and a shift, both made better by them, and the chance of so many."""
    for near in (frame.cell, frame.near, frame.near):
        i, j = nearest_pairs(_turned(a, turn) + shift, b, near)
        if len(i) < _LEAST_PAIRS:
            return None, 1.0
        turn, shift = _fitted(a[i], b[j])
    placed = _turned(a, turn) + shift
    i, j = nearest_pairs(placed, b, frame.near)
    inside = (np.abs(placed) < frame.size / 2).all(axis=1)
    if len(i) < _LEAST_PAIRS or not inside.any():
        return None, 1.0
    chance = _chance(placed[inside], b, len(i), frame)
    return StarPairs(i, j, float(np.angle(np.exp(1j * turn))), shift), chance


def _chance(placed: Array, b: Array, pairs: int, frame: _Frame) -> float:
    """Probability that so many find a partner among stars that have nothing to do with them, as dense as around them."""
    from scipy.special import bdtrc

    tree = _tree(b)
    far, close = (
        tree.query_ball_point(placed, reach, return_length=True) for reach in (frame.cell, frame.near)
    )
    others = float(np.mean(far - close)) / ((frame.cell / frame.near) ** 2 - 1)
    even = len(b) * np.pi * frame.near**2 / float(np.prod(frame.size))
    trials = max(len(placed), pairs)
    return float(bdtrc(pairs - 1, trials, min(max(others, even), 1.0)))


def nearest_pairs(
    first: Array, second: Array, within: float
) -> tuple[npt.NDArray[np.int_], npt.NDArray[np.int_]]:
    """Pair points that are each other's nearest.

    Parameters
    ----------
    first, second : ndarray, shape (n, k), (m, k)
        Points.
    within : float
        Largest distance, in their unit.

    Returns
    -------
    ndarray of int, shape (p,)
        Indices into `first`.
    ndarray of int, shape (p,)
        Indices into `second`.
    """
    apart, there = _tree(second).query(first)
    _, back = _tree(first).query(second)
    mine = np.flatnonzero((apart < within) & (back[there] == np.arange(len(first))))
    return mine, np.asarray(there[mine])


def _tree(points: Array) -> Any:
    from scipy.spatial import cKDTree

    return cKDTree(points)


def _turned(places: Array, turn: float) -> Array:
    """Turn places, shape (n, 2), about the origin from +x towards +y. [rad]"""
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(places @ np.array([[c, s], [-s, c]]))


def _fitted(a: Array, b: Array) -> tuple[float, Array]:
    """Turn and shift by least squares, in the plane. [rad], [px]"""
    da, db = a - a.mean(axis=0), b - b.mean(axis=0)
    turn = float(np.arctan2(np.sum(da[:, 0] * db[:, 1] - da[:, 1] * db[:, 0]), np.sum(da * db)))
    return turn, np.asarray(b.mean(axis=0) - _turned(a.mean(axis=0), turn))
