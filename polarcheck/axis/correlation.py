"""The axis from a tracked sequence whose errors are alike from frame to frame.

The error of each component (declination, roll) is taken as white noise and, beside it, one that fades
exponentially with time: what drive, flexure and seeing do. How strong it is and how long it lasts, the residuals
must tell. Every strength and time on a grid is weighed by its restricted likelihood; the answer is the mean over
them, and its covariance holds how far they differ. So a short sequence that cannot tell is not taken for white.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["Component", "Estimate", "Series", "estimate"]

Ints = npt.NDArray[np.int_]

_MOST_POINTS = 72  # longer sequences are averaged over neighbours, down to this many points
_WHITE = 0.5  # prior chance that a component's noise is white
_STRENGTHS = np.geomspace(0.1, 30, 6)  # variance of what lasts over that of one frame's own noise
_TIMES = 7  # lengths of time tried, from one frame to several times the sequence
_LONGEST = 1.0  # of them, in lengths of the sequence
_SHORTNESS = 0.7  # of this power of its length is the prior chance of a time
_RATIOS = np.geomspace(1 / 128, 128, 29)  # roll noise over that of stars spread evenly
_LEAST_RATIO = 0.25  # down to which the roll is believed: what moves the place slowly may turn the field too
_PRIOR_WIDTH = 0.25  # of the logarithm of that ratio
_NEGLIGIBLE = 9.0  # logarithm of the odds below which a combination is not counted with


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
class Estimate:
    """Parameters from one component or two.

    Attributes
    ----------
    step : ndarray, shape (p,)
        The parameters.
    covariance : ndarray, shape (p, p)
        Scaled by the residuals.
    degrees_of_freedom : float
        How well the residuals tell the covariance: those of a chi square that scatters as much.
    noise : ndarray, shape (c,)
        Root mean square error of one frame over the assumed one, of each component, what lasts included.
    lasting : ndarray, shape (c,)
        Share of its variance that lasts from frame to frame.
    seconds : ndarray, shape (c,)
        How long it lasts: the time in which it fades to 1/e. [s]
    """

    step: Array
    covariance: Array
    degrees_of_freedom: float
    noise: Array
    lasting: Array
    seconds: Array


@dataclass(frozen=True, slots=True)
class Component:
    """Equations of one component for every strength and time of what lasts that its residuals do not exclude.

    Attributes
    ----------
    moments : ndarray, shape (h, 1 + p, 1 + p)
        Of misfit and design, constants taken out, in units of the assumed noise.
    odds : ndarray, shape (h,)
        Of each, by this component alone; sum 1.
    strengths, times : ndarray, shape (h,)
        Variance of what lasts over that of a frame's own noise; how long it lasts. [s]
    freedom : int
        Observations less constants.
    """

    moments: Array
    odds: Array
    strengths: Array
    times: Array
    freedom: int

    @property
    def parameters(self) -> int:
        """How many, shared with other components."""
        return int(self.moments.shape[-1]) - 1

    @classmethod
    def of(cls, series: Series) -> Component:
        """Weigh the strengths and times for one series of equations."""
        rows, counts, seconds, groups = _averaged(series)
        span = max(float(np.ptp(seconds)), 1.0)
        shortest = min(span, max(float(np.median(np.diff(np.sort(series.seconds)))), 1.0))
        grid = [(s, t) for t in np.geomspace(shortest, _LONGEST * span, _TIMES) for s in _STRENGTHS]
        strengths, times = np.array([(0.0, shortest), *grid]).T
        constants = len(np.unique(groups))
        moments, cost = _moments(rows, _covariances(counts, seconds, groups, strengths, times), constants)
        lasting = np.where(strengths == 0, 0.0, times**-_SHORTNESS)
        chance = np.where(strengths == 0, _WHITE, (1 - _WHITE) * lasting / lasting.sum())
        cost = cost - 2 * np.log(chance)
        freedom = len(counts) - constants
        cost = cost + _solutions(moments, max(freedom - moments.shape[-1] + 1, 1))[3]
        odds = _odds(cost)
        keep = odds > np.exp(-_NEGLIGIBLE) * odds.max()
        return cls(moments[keep], odds[keep] / odds[keep].sum(), strengths[keep], times[keep], freedom)


def estimate(*components: Component) -> Estimate | None:
    """Solve for the parameters that components share.

    Parameters
    ----------
    *components : Component
        One or two; the noise of the second is near that of the first but for a ratio. How long errors last is
        weighed in each component by itself, lest a contradiction between the two pass for noise.

    Returns
    -------
    Estimate or None
        None where the frames leave no residuals.

    References
    ----------
    .. [1] D. A. Harville, "Maximum likelihood approaches to variance component estimation", J. Amer. Stat. Assoc.
       72 (1977) 320: restricted likelihood (from memory).
    """
    first, second = components[0], components[-1]
    freedom = sum(one.freedom for one in components) - first.parameters
    if freedom < 1:
        return None
    if len(components) == 1:
        odds, ratios = first.odds[:, None, None], np.ones(1)
        steps, covariances, scale, _ = _solutions(first.moments[:, None, None], freedom)
    else:
        ratios = _RATIOS
        _, _, scale, cost = _solutions(_joined(first, second, ratios), freedom)
        prior = 3 * np.log1p((np.log(ratios) / _PRIOR_WIDTH) ** 2 / 2)
        cost = cost + prior + 2 * second.freedom * np.log(ratios)
        odds = _odds(cost) * first.odds[:, None, None] * second.odds[None, :, None]
        steps, inverse, _, _ = _solutions(_joined(first, second, np.maximum(ratios, _LEAST_RATIO)), 0)
        covariances = inverse * scale[..., None, None]
    step = np.einsum("hkr,hkrp->p", odds, steps)
    apart = steps - step
    spread = np.einsum("hkr,hkrp,hkrq->pq", odds, apart, apart)
    size = np.log(np.maximum(np.trace(covariances, axis1=-2, axis2=-1), 1e-300))
    typical = float(np.sum(odds * size))
    told = _freedom(2 / freedom + 2 / freedom**2 + float(np.sum(odds * (size - typical) ** 2)))
    covariance = np.einsum("hkr,hkrpq->pq", odds, covariances)
    covariance = covariance * np.exp(typical) / np.trace(covariance) + spread
    parts = [(first, odds.sum(axis=(1, 2)), np.sum(odds * scale, axis=(1, 2)))]
    if len(components) == 2:
        parts.append((second, odds.sum(axis=(0, 2)), np.sum(odds * scale * ratios**2, axis=(0, 2))))
    return Estimate(step, covariance, float(told), *_noise(parts))


def _freedom(variance: float) -> float:
    """Degrees of freedom of a chi square whose logarithm has so large a variance (trigamma of half of them)."""
    return float((1 + np.sqrt(1 + 2 * variance)) / variance)


def _joined(first: Component, second: Component, ratios: Array) -> Array:
    """Moments of both, shape (h, k, r, 1 + p, 1 + p)."""
    return np.asarray(
        first.moments[:, None, None] + second.moments[None, :, None] / ratios[:, None, None] ** 2
    )


def _odds(cost: Array) -> Array:
    """Odds along the last axis, sum 1, of twice the negative logarithm of a likelihood."""
    odds = np.exp(-(cost - cost.min(axis=-1, keepdims=True)) / 2)
    return np.asarray(odds / odds.sum(axis=-1, keepdims=True))


def _noise(parts: list[tuple[Component, Array, Array]]) -> tuple[Array, Array, Array]:
    """Noise, lasting share and time of each component."""
    noise, lasting, seconds = [], [], []
    for grid, odds, scale in parts:
        lasts = grid.strengths / (1 + grid.strengths)
        noise.append(np.sqrt(scale.sum()))
        lasting.append(odds @ lasts)
        weight = odds * lasts
        seconds.append(np.exp(weight @ np.log(grid.times) / weight.sum()) if weight.sum() > 0 else 0.0)
    return np.array(noise), np.array(lasting), np.array(seconds)


def _averaged(series: Series) -> tuple[Array, Array, Array, Ints]:
    """Rows (misfit, design, a constant for each group) over the noise, averaged over neighbours where many."""
    count = len(series.misfit)
    _, groups = np.unique(series.groups, return_inverse=True)
    order = np.lexsort((series.seconds, groups))
    constants = np.eye(groups.max() + 1)[groups]
    rows = np.column_stack([series.misfit, series.design, constants])[order] / series.sigma[order, None]
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


def _covariances(counts: Array, seconds: Array, groups: Ints, strengths: Array, times: Array) -> Array:
    """Covariances of the rows, shape (h, m, m), in units of one frame's variance."""
    apart = np.where(groups[:, None] == groups, np.abs(seconds[:, None] - seconds), np.inf)
    lasting = strengths[:, None, None] * np.exp(-apart / times[:, None, None])
    return np.asarray((np.diag(1 / counts) + lasting) / (1 + strengths[:, None, None]))


def _moments(rows: Array, covariances: Array, constants: int) -> tuple[Array, Array]:
    """Moments with the constants taken out, shape (h, 1 + p, 1 + p), and the determinants' share of the cost, (h,)."""
    full = rows.T @ np.linalg.solve(covariances, np.broadcast_to(rows, (len(covariances), *rows.shape)))
    inner, cross = full[:, -constants:, -constants:], full[:, :-constants, -constants:]
    moments = full[:, :-constants, :-constants] - cross @ np.linalg.solve(inner, np.swapaxes(cross, -1, -2))
    size = np.log(np.diagonal(np.linalg.cholesky(covariances), axis1=-2, axis2=-1)).sum(axis=-1)
    return moments, 2 * size + np.linalg.slogdet(inner)[1]


def _solutions(moments: Array, freedom: int) -> tuple[Array, Array, Array, Array]:
    """Parameters, covariance, variance of unit weight and likelihood cost for stacks of moments."""
    design = moments[..., 1:, 1:]
    ridge = 1e-12 * np.trace(design, axis1=-2, axis2=-1)[..., None, None] * np.eye(design.shape[-1])
    inverse = np.linalg.inv(design + ridge + 1e-300 * np.eye(design.shape[-1]))
    steps = np.einsum("...pq,...q->...p", inverse, moments[..., 1:, 0])
    chi_square = moments[..., 0, 0] - np.einsum("...p,...p->...", steps, moments[..., 1:, 0])
    chi_square = np.maximum(chi_square, 1e-12)
    scale = chi_square / freedom if freedom else np.ones_like(chi_square)
    likelihood = freedom * np.log(chi_square) + np.linalg.slogdet(design + ridge)[1]
    return steps, inverse * scale[..., None, None], scale, likelihood
