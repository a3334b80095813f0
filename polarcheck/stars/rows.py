"""Pieces of a faint trail: a satellite hardly brighter than the noise leaves hundreds of small groups in a row."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["in_a_row"]

_NEAR_PX = 3.0  # to the line through them
_LEAST = 20  # of a thousand stars at random, none lie so in a strip
_TIMES = 6.0  # as many as chance puts there


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
    rest = np.arange(len(places))
    while len(rest) and (line := _fullest_line(places[rest], diagonal_px)) is not None:
        found[rest[line]] = True
        rest = np.flatnonzero(~found)
    return found


def _fullest_line(places: Array, diagonal_px: float) -> npt.NDArray[np.bool_] | None:
    width = 2 * _NEAR_PX
    steps = int(diagonal_px / width) + 1  # of the angle: of a row askew by half a step, most is in one strip
    members = max((_fullest_strip(places, k * np.pi / steps, width) for k in range(steps)), key=len)
    if len(members) < _LEAST + _TIMES * len(places) * width / diagonal_px:
        return None
    for _ in range(3):  # a strip cuts a slanting row short; the line through it finds the rest
        middle = np.median(members, axis=0)
        along = np.linalg.svd(members - middle, full_matrices=False)[2][0]
        near = np.abs((places - middle) @ [-along[1], along[0]]) < _NEAR_PX
        if near.sum() < _LEAST:
            return None
        members = places[near]
    return np.asarray(near)


def _fullest_strip(places: Array, angle: float, width: float) -> Array:
    """The places in the fullest of parallel strips."""
    strip = np.floor(places @ [np.cos(angle), np.sin(angle)] / width).astype(int)
    strip -= strip.min()
    return np.asarray(places[strip == np.bincount(strip).argmax()])
