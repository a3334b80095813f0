"""What frames of one group share: weighted means, and how noisy their roll component is."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["group_means", "roll_variance"]


def group_means(values: Array, groups: npt.NDArray[np.int_], weights: Array, count: int) -> Array:
    """Return each group's weighted mean.

    Parameters
    ----------
    values : ndarray, shape (n, ...)
        Of every frame.
    groups : ndarray of int, shape (n,)
        Counted from 0.
    weights : ndarray, shape (n,)
        Not negative.
    count : int
        How many groups there are.

    Returns
    -------
    ndarray, shape (count, ...)
        0 for a group without weight.
    """
    flat = values.reshape(len(values), -1)
    total = np.bincount(groups, weights, count)
    sums = np.stack([np.bincount(groups, weights * column, count) for column in flat.T], axis=-1)
    means = np.divide(sums, total[:, None], out=np.zeros_like(sums), where=total[:, None] > 0)
    return np.asarray(means.reshape(count, *values.shape[1:]))


def roll_variance(sine_square: npt.ArrayLike, roll_ratio: npt.ArrayLike, roll_moment: npt.ArrayLike) -> Array:
    """Return the variance of a frame's roll component, in units of its pointing's variance.

    Parameters
    ----------
    sine_square : array_like
        Of the angle between boresight and axis.
    roll_ratio : array_like
        Roll noise over that of stars spread evenly over the sensor.
    roll_moment : array_like
        Of the camera, see `polarcheck.axis.Attitudes`.

    Returns
    -------
    ndarray
        cos^2 + sin^2 ratio^2 / moment.
    """
    share = np.asarray(sine_square, dtype=float)
    return np.asarray(1 - share + share * np.asarray(roll_ratio) ** 2 / np.asarray(roll_moment))
