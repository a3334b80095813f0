"""Pieces of a faint trail: a satellite hardly brighter than the noise leaves hundreds of small groups in a row."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["in_a_row"]

_ANGLES = 360
_WIDTH_PX = 8.0  # of the strips that are counted
_NEAR_PX = 3.0  # of the line through them
_LEAST = 20  # of a thousand stars at random, none lie so in a strip
_TIMES = 6.0  # as many as chance puts there
_MOST_TRAILS = 4


def in_a_row(places: Array, diagonal_px: float) -> npt.NDArray[np.bool_]:
    """Tell which places lie on straight lines that are far too full for stars.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        [px]
    diagonal_px : float
        Of the image. [px]

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    found = np.zeros(len(places), dtype=bool)
    for _ in range(_MOST_TRAILS):
        rest = np.flatnonzero(~found)
        if len(rest) < _LEAST:
            break
        line = _fullest_line(places[rest], diagonal_px)
        if line is None:
            break
        found[rest[line]] = True
    return found


def _fullest_line(places: Array, diagonal_px: float) -> npt.NDArray[np.bool_] | None:
    angles = np.arange(_ANGLES) * np.pi / _ANGLES
    across = places @ np.stack([np.cos(angles), np.sin(angles)])
    strips = int(2 * diagonal_px / _WIDTH_PX) + 2
    strip = ((across + diagonal_px) / _WIDTH_PX).astype(int) + strips * np.arange(_ANGLES)
    count = np.bincount(strip.ravel(), minlength=strips * _ANGLES)
    best = int(count.argmax())
    if count[best] < _LEAST + _TIMES * len(places) * _WIDTH_PX / diagonal_px:
        return None
    members = places[strip[:, best // strips] == best]
    for _ in range(3):  # a strip cuts a slanting row short; the line through it finds the rest
        middle = np.median(members, axis=0)
        along = np.linalg.svd(members - middle, full_matrices=False)[2][0]
        near = np.abs((places - middle) @ [-along[1], along[0]]) < _NEAR_PX
        if near.sum() < _LEAST:
            return None
        members = places[near]
    return np.asarray(near)
