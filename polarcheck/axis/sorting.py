"""Sort the frames of a tracked sequence: what was solved wrongly, and where a series breaks.

Declination and roll are judged each by itself and before any axis is settled: a bend, or a contradiction between the
two, is neither a wrong frame nor a break.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.course import Track
from polarcheck.axis.polar import polar_places
from polarcheck.axis.steps import largest_step, standing_out
from polarcheck.vectors import Array

__all__ = ["Break", "Sorted", "sorted_frames"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_FEW = 20  # frames below which each is judged by a fit without it, above by its neighbours in time
_LEAST_FREEDOM = 3
_OUT, _OUT_OF_FEW = 6.0, 40.0  # standard deviations for that, and more over the degrees of freedom
_MOST_STRAYS = 12
_WORST = 0.5  # of the largest departure, at which another frame is called wrong at the same time
_MOST_BREAKS = 6
_QUIET = 0.1  # roll noise over that of stars spread evenly, down to which none is called a departure


@dataclass(frozen=True, slots=True)
class Break:
    """A step in a tracked sequence: declination slipped, the camera turned, or the mount was knocked.

    Attributes
    ----------
    first : int
        First frame after it.
    size : float
        How far declination and roll (times the sine of the distance from the axis) stepped together; 0 where the
        mount went to another field or pier side. [rad]
    """

    first: int
    size: float


@dataclass(frozen=True, slots=True)
class Sorted:
    """Frames in groups between which anything may have changed but the axis.

    Attributes
    ----------
    used : ndarray of bool, shape (n,)
        Frames that follow their field.
    groups : ndarray of int, shape (n,)
        Of all frames; those not used are guests.
    breaks : tuple of Break
        Where a field's frames were parted, in order of time.
    """

    used: Bools
    groups: Ints
    breaks: tuple[Break, ...]


def sorted_frames(attitudes: Attitudes, track: Track, axis: Array) -> Sorted:
    """Leave out frames far from their neighbours, and part groups where they step.

    Parameters
    ----------
    attitudes : Attitudes
        The frames in order of time.
    track : Track
        What they followed.
    axis : ndarray, shape (3,)
        A guess, good to some degrees.
    """
    judge = _Judge(attitudes, track.seconds, axis)
    groups = _housed(attitudes, track.groups)
    used = track.groups >= 0
    used = judge.without_strays(used, groups)
    between = _boundaries(used, groups)
    groups, breaks = judge.parted(used, groups)
    used = judge.without_strays(used, groups)
    return Sorted(used, groups, tuple(sorted([*between, *breaks], key=lambda one: one.first)))


def _boundaries(used: Bools, groups: Ints) -> list[Break]:
    """Where one field ends and another begins, for good."""
    found = []
    for g in np.unique(groups[used]):
        first = int(np.flatnonzero(used & (groups == g))[0])
        before, later = (
            groups[used][np.flatnonzero(used) < first],
            groups[used][np.flatnonzero(used) >= first],
        )
        if len(before) and not np.isin(before, later).any():
            found.append(Break(first, 0.0))
    return found


def _housed(attitudes: Attitudes, groups: Ints) -> Ints:
    """Put frames that follow no field with the first group of their camera (or of any), as guests."""
    housed = groups.copy()
    for i in np.flatnonzero(groups < 0):
        mates = np.flatnonzero((attitudes.camera == attitudes.camera[i]) & (groups >= 0))
        housed[i] = groups[mates[0]] if len(mates) else 0
    return housed


class _Judge:
    """What is left of each component after a fit of its own."""

    def __init__(self, attitudes: Attitudes, seconds: Array, axis: Array) -> None:
        self._places = polar_places(attitudes, axis)
        self._sigma = attitudes.noise[:, None] * np.sqrt(self._places.variances) * [1.0, _QUIET]
        self._seconds = seconds

    def left(self, used: Bools, groups: Ints) -> Array:
        """Residuals over what no frame is blamed for, shape (n, 2)."""
        misfit = self._places.misfit(groups, used)
        constants = np.eye(groups.max() + 1)[groups]
        found = np.empty_like(misfit)
        for c in range(2):
            rows = np.column_stack([self._places.design[:, c], constants])
            fitted = np.linalg.lstsq(rows[used], misfit[used, c], rcond=1e-12)[0]
            found[:, c] = misfit[:, c] - rows @ fitted
        return found / self._sigma

    def without_strays(self, used: Bools, groups: Ints) -> Bools:
        """Frames in use but those far from where their neighbours are."""
        for _ in range(_MOST_STRAYS):
            few = np.count_nonzero(used) < _FEW
            out = self._out_of_few(used, groups) if few else self._out_of_many(used, groups)
            if out.max() < 1:
                break
            used = used & (out <= max(1.0, _WORST * float(out.max())))
        return used

    def _out_of_many(self, used: Bools, groups: Ints) -> Array:
        return np.asarray(np.maximum(*(standing_out(one, groups, used) for one in self.left(used, groups).T)))

    def _out_of_few(self, used: Bools, groups: Ints) -> Array:
        """Residuals of a fit without the frame, over what is needed to call it wrong, shape (n,)."""
        misfit, out = self._places.misfit(groups, used) / self._sigma, np.zeros(len(used))
        constants = np.eye(groups.max() + 1)[groups]
        for c in range(2):
            rows = np.column_stack([self._places.design[:, c], constants])[used]
            base = np.linalg.svd(rows / self._sigma[used, c, None], full_matrices=False)
            inside = base[0][:, base[1] > 1e-9 * base[1].max()]
            values = misfit[used, c]
            left, free = values - inside @ (inside.T @ values), 1 - np.sum(inside**2, axis=1)
            freedom = len(values) - inside.shape[1] - 1
            if freedom < _LEAST_FREEDOM:
                continue
            free = np.maximum(free, 1e-9)
            others = np.maximum((left @ left - left**2 / free) / freedom, 1.0)
            out[used] = np.maximum(
                out[used], np.abs(left) / np.sqrt(free * others) / (_OUT + _OUT_OF_FEW / freedom)
            )
        return out

    def parted(self, used: Bools, groups: Ints) -> tuple[Ints, list[Break]]:
        """Groups parted at their steps."""
        breaks: list[Break] = []
        for _ in range(_MOST_BREAKS):
            found = self._clearest(used, groups)
            if found is None:
                break
            breaks.append(found)
            later = (groups == groups[found.first]) & (np.arange(len(groups)) >= found.first)
            groups = np.where(later, groups.max() + 1, groups)
        return groups, breaks

    def _clearest(self, used: Bools, groups: Ints) -> Break | None:
        left = self.left(used, groups)
        best, found = 1.0, None
        for g in np.unique(groups[used]):
            mine = np.flatnonzero(used & (groups == g))
            first, clear, steps = largest_step(left[mine], self._seconds[mine])
            if clear > best:
                best = clear
                found = Break(int(mine[first]), float(np.hypot(*(steps * self._sigma[mine[first]]))))
        return found
