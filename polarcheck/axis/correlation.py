"""The axis from a tracked sequence whose errors are alike from frame to frame.

The error of each component (declination, roll) is taken as white noise and, beside it, one that fades
exponentially with time: what drive, flexure and seeing do. How strong it is and how long it lasts, the residuals
must tell. Every strength and time on a grid is weighed by its restricted likelihood, and for each the scale of the
noise is drawn from its posterior. What comes out is a mixture of Gaussians (`polarcheck.axis.mixture`), whose width
holds how far they differ. So a short sequence that cannot tell is not taken for white.

References
----------
.. [1] D. A. Harville, "Maximum likelihood approaches to variance component estimation", J. Amer. Stat. Assoc.
   72 (1977) 320: restricted likelihood (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["NEGLIGIBLE", "Component", "Series"]

Ints = npt.NDArray[np.int_]

_MOST_POINTS = 72  # longer sequences are averaged over neighbours, down to this many points
_WHITE = 0.6  # prior chance that a component's noise is white
# variance of what lasts over that of one frame's own noise, all alike
_STRENGTHS = np.geomspace(0.1, 1000, 7)
_TIMES = 7  # lengths of time tried, from
_SHORTEST = 0.125  # of the time from frame to frame, so that nothing is left of it at the next one, to
_LONGEST = 2.0  # lengths of the sequence, all alike
NEGLIGIBLE = 7.0
"""Logarithm of the odds below which one of many possibilities is not counted with."""


@dataclass(frozen=True, slots=True)
class Series:
    """Linear equations of `n` frames in order of time, for one component of the misfit.

    Attributes
    ----------
    misfit : ndarray, shape (n,)
        [rad]
    design : ndarray, shape (n, p)
        Its change with each parameter.
    sigma : ndarray, shape (n,)
        Assumed white noise. [rad]
    seconds : ndarray, shape (n,)
        [s]
    groups : ndarray of int, shape (n,)
        Each group has a constant of its own, and errors that the others do not share.
    """

    misfit: Array
    design: Array
    sigma: Array
    seconds: Array
    groups: Ints


@dataclass(frozen=True, slots=True)
class Component:
    """Solutions of one component for every strength and time of what lasts that its residuals do not exclude.

    Attributes
    ----------
    odds : ndarray, shape (h,)
        Of each strength and time; sum 1.
    steps : ndarray, shape (h, p)
        The parameters.
    inverses : ndarray, shape (h, p, p)
        Their covariance for noise as assumed.
    chi_squares : ndarray, shape (h,)
    levers : ndarray, shape (h, p)
        How a steady change of the misfit from first frame to last, of 1 rad, moves them.
    strengths, times : ndarray, shape (h,)
        Variance of what lasts over that of a frame's own noise; how long it lasts. [s]
    freedom : int
        Observations less constants and parameters; 0 where they leave no residuals.
    """

    odds: Array
    steps: Array
    inverses: Array
    chi_squares: Array
    levers: Array
    strengths: Array
    times: Array
    freedom: int

    @classmethod
    def of(cls, series: Series, longest: float = _LONGEST) -> Component:
        """Weigh the strengths and times, up to so many lengths of the sequence, for one series."""
        rows, counts, seconds, groups = _averaged(series)
        span = max(float(np.ptp(seconds)), 1.0)
        cadence = float(np.median(np.diff(np.sort(series.seconds))))
        least = min(span, max(_SHORTEST * cadence, 1.0))
        grid = [(s, t) for t in np.geomspace(least, max(longest * span, least), _TIMES) for s in _STRENGTHS]
        strengths, times = np.array([(0.0, least), *grid]).T
        constants = len(np.unique(groups))
        white, spread = _whitened(rows, counts, seconds, groups, strengths, times)
        moments, inner = _moments(white, constants)
        steps, inverses, chi_squares, levers, size = _solutions(moments)
        freedom = max(len(counts) - constants - steps.shape[-1], 0)
        chance = np.where(strengths == 0, _WHITE, (1 - _WHITE) / len(grid))
        odds = np.log(chance) - (spread + inner + size + freedom * np.log(chi_squares)) / 2
        odds = np.exp(odds - odds.max())
        keep = odds > np.exp(-NEGLIGIBLE)
        return cls(
            odds[keep] / odds[keep].sum(),
            steps[keep],
            inverses[keep],
            chi_squares[keep],
            levers[keep],
            strengths[keep],
            times[keep],
            freedom,
        )


def _averaged(series: Series) -> tuple[Array, Array, Array, Ints]:
    """Rows (misfit, design, a steady change, constants of groups) over the noise, averaged over neighbours if many."""
    count = len(series.misfit)
    _, groups = np.unique(series.groups, return_inverse=True)
    order = np.lexsort((series.seconds, groups))
    constants = np.eye(groups.max() + 1)[groups]
    steady = series.seconds / max(float(np.ptp(series.seconds)), 1.0)
    columns = [series.misfit, series.design, steady - steady.mean(), constants]
    rows = np.column_stack(columns)[order] / series.sigma[order, None]
    block = np.concatenate([[0], np.cumsum(_opens(groups[order], -(-count // _MOST_POINTS)))])
    sizes = np.bincount(block)

    def mean(values: Array) -> Array:
        return np.add.reduceat(values, np.concatenate([[0], np.cumsum(sizes)[:-1]])) / (
            sizes[:, None] if values.ndim > 1 else sizes
        )

    return mean(rows), sizes.astype(float), mean(series.seconds[order]), groups[order][np.cumsum(sizes) - 1]


def _opens(groups: Ints, most: int) -> npt.NDArray[np.bool_]:
    """Whether each row but the first opens a new block of at most so many rows of one group."""
    first = np.concatenate([[0], np.flatnonzero(np.diff(groups)) + 1])
    place = np.arange(len(groups)) - first[np.searchsorted(first, np.arange(len(groups)), side="right") - 1]
    return np.asarray(place[1:] % most == 0)


def _whitened(
    rows: Array, counts: Array, seconds: Array, groups: Ints, strengths: Array, times: Array
) -> tuple[Array, Array]:
    """Rows over the Cholesky root of their covariance in units of one frame's, (h, m, c), and its determinant's logarithm.

    What fades exponentially is known from the row before alone, so each row is compared to what those before it
    foretell (a Kalman filter): the work grows with the number of rows, not with its cube.
    """
    fades = np.where(groups[1:] == groups[:-1], np.exp(-np.diff(seconds) / times[:, None]), 0.0).T
    foretold, unsure = np.zeros((len(times), rows.shape[1])), strengths
    left, variances = np.empty((len(rows), *foretold.shape)), np.empty((len(rows), len(times)))
    for k, (row, own) in enumerate(zip(rows, 1 / counts, strict=True)):
        if k:
            foretold = fades[k - 1, :, None] * foretold
            unsure = strengths + fades[k - 1] ** 2 * (unsure - strengths)
        left[k], variances[k] = row - foretold, unsure + own
        share = unsure / variances[k]
        foretold = foretold + share[:, None] * left[k]
        unsure = share * own
    variances /= 1 + strengths
    white = left / np.sqrt(variances)[..., None]
    return np.swapaxes(white, 0, 1), np.log(variances).sum(axis=0)


def _moments(white: Array, constants: int) -> tuple[Array, Array]:
    """Moments with the constants taken out, shape (h, 2 + p, 2 + p), and the logarithm of the constants' determinant."""
    full = np.swapaxes(white, -1, -2) @ white
    inner, cross = full[:, -constants:, -constants:], full[:, :-constants, -constants:]
    moments = full[:, :-constants, :-constants] - cross @ np.linalg.solve(inner, np.swapaxes(cross, -1, -2))
    return moments, np.linalg.slogdet(inner)[1]


def _solutions(moments: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Parameters, covariances, chi squares, levers of a steady change, and logarithms of the determinants."""
    design = moments[:, 1:-1, 1:-1]
    ridge = 1e-12 * np.trace(design, axis1=-2, axis2=-1)[..., None, None] * np.eye(design.shape[-1])
    design = design + ridge + 1e-300 * np.eye(design.shape[-1])
    inverse = np.linalg.inv(design)
    steps = np.einsum("hpq,hq->hp", inverse, moments[:, 1:-1, 0])
    levers = np.einsum("hpq,hq->hp", inverse, moments[:, 1:-1, -1])
    chi_squares = moments[:, 0, 0] - np.einsum("hp,hp->h", steps, moments[:, 1:-1, 0])
    return steps, inverse, np.maximum(chi_squares, 1e-12), levers, np.linalg.slogdet(design)[1]
