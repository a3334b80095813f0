"""Frames and moments that stand out of a tracked sequence: wrong solutions, slips and knocks.

A slow bend is no step, and noise that lasts from frame to frame takes small ones in its stride. So everything is
measured against the sequence's own unrest over as few frames.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["largest_step", "standing_out"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_NEIGHBOURS = 3  # frames on either side that a frame is compared to
_LEAST = 7  # frames of a group below which none can be said to stand out
_OUT = 8.0  # robust standard deviations at which a frame stands out, where many tell them;
_OUT_OF_FEW = 60.0  # with n frames there are so many over n more
_OUT_OF_ALL = 4.0  # and so many of the whole series, which a guider may dither
_SIDE = 6  # frames on either side of a moment that tell a step there, at most
_LEAST_SIDE = 3  # and at least
_STEP = 7.0  # robust standard deviations at which a step is believed, where many tell them;
_STEP_OF_FEW = 60.0  # with n frames there are so many over n more


def standing_out(series: Array, groups: Ints, used: Bools) -> Array:
    """Tell how far frames are from where their neighbours in time are, in what is needed to call them wrong.

    A frame must stand out from those before it as well as from those after it: at a step only one side is far.

    Parameters
    ----------
    series : ndarray, shape (n,)
        Of frames in order of time, without trend, in units of a noise that is expected in any case.
    groups : ndarray of int, shape (n,)
        Frames are compared within their group.
    used : ndarray of bool, shape (n,)
        Others are passed over.
    """
    out = np.zeros(len(series))
    for g in np.unique(groups[used]):
        mine = np.flatnonzero(used & (groups == g))
        if len(mine) >= _LEAST:
            values = series[mine]
            apart, whole = _apart(values), np.abs(values - np.median(values))
            near = (_OUT + _OUT_OF_FEW / len(mine)) * max(1.4826 * float(np.median(apart)), 1.0)
            out[mine] = np.minimum(
                apart / near, whole / (_OUT_OF_ALL * max(1.4826 * float(np.median(whole)), 0.1))
            )
    return out


def largest_step(series: Array, seconds: Array) -> tuple[int, float, Array]:
    """Find the moment at which a series steps most clearly out of its own unrest.

    Parameters
    ----------
    series : ndarray, shape (n, c)
        Components, in order of time, in units of a noise that is expected in any case.
    seconds : ndarray, shape (n,)
        [s]

    Returns
    -------
    first : int
        First frame after the step.
    clear : float
        Its size in what is needed to believe it.
    steps : ndarray, shape (c,)
        Of the components then.
    """
    count = len(series)
    side = min(_SIDE, count // 5)
    if side < _LEAST_SIDE:
        return 0, 0.0, np.zeros(series.shape[1])
    steps = np.stack([_steps(column, seconds, side) for column in series.T], axis=-1)
    spread = 1.4826 * np.median(np.abs(steps - np.median(steps, axis=0)), axis=0)
    needed = (_STEP + _STEP_OF_FEW / count) * np.maximum(spread, np.sqrt(2 / side))
    k, component = np.unravel_index(int(np.argmax(np.abs(steps) / needed)), steps.shape)
    return int(k) + side, float(abs(steps[k, component]) / needed[component]), steps[k]


def _apart(values: Array) -> Array:
    """Distance from the median of the nearest values before, or of those after, whichever is less."""
    found = np.full((2, len(values)), np.inf)
    windows = np.median(np.lib.stride_tricks.sliding_window_view(values, _NEIGHBOURS), axis=1)
    found[0, _NEIGHBOURS:] = np.abs(values[_NEIGHBOURS:] - windows[:-1])
    found[1, :-_NEIGHBOURS] = np.abs(values[:-_NEIGHBOURS] - windows[1:])
    return np.asarray(found.min(axis=0))


def _steps(values: Array, seconds: Array, side: int) -> Array:
    """Steps between two straight lines of one slope, at every moment with so many frames on both sides."""
    windows = np.lib.stride_tricks.sliding_window_view
    heights, times = windows(values, 2 * side), windows(seconds, 2 * side)
    times = times - times.mean(axis=1, keepdims=True)
    times = times / np.maximum(np.abs(times).max(axis=1, keepdims=True), 1e-9)
    after = np.broadcast_to(np.arange(2 * side) >= side, times.shape)
    rows = np.stack([np.ones_like(times), times, after], axis=-1)
    normal = np.einsum("kwp,kwq->kpq", rows, rows)
    return np.asarray(np.linalg.solve(normal, np.einsum("kwp,kw->kp", rows, heights)[..., None])[:, 2, 0])
