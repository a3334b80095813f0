"""The parameters that one component of the misfit tells, or two that may contradict each other.

Each component is a mixture of Gaussians. Two are joined piece by piece: by the noise of their solutions, which is
alike but for a ratio, and by how well their parameters agree. They need not: a camera that turns slowly in its holder
moves what the rotation says of the axis and leaves no residuals. So beside agreement stand contradictions by any
decade alike, and their weight is what the two components' own distance makes of it: none where they agree well
within a contradiction's size, all where they are far apart, and then each component counts by its own width.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from polarcheck.axis.correlation import NEGLIGIBLE, Component
from polarcheck.axis.noise import PRIOR_WIDTH
from polarcheck.constants import ARCMIN
from polarcheck.vectors import Array

__all__ = ["Estimate", "estimate"]

# of the noise, of equal chance, for each; their square is the most Gaussians that stand for all. Twice as many change
# an interval by 1 % at most, for nine times the time and fifteen times the memory
_SCALES = 7
_CONTRADICTS = 0.03  # prior chance that the components contradict each other,
_CONTRADICTIONS = ARCMIN * np.array([0.5, 2.0, 8.0, 32.0])  # by one of these standard deviations
_NEAR, _WIDE = 0.6827, 0.95  # the intervals that Student's t is made to match
_REACH = np.geomspace(0.1, 15, 40)  # of a typical standard deviation, in which the intervals are looked for


@dataclass(frozen=True, slots=True)
class _Pieces:
    """What one component says of the parameters: `m` Gaussians of equal chance.

    Attributes
    ----------
    steps : ndarray, shape (m, p)
    covariances : ndarray, shape (m, p, p)
    noise : ndarray, shape (m,)
        Root mean square error of one frame over the assumed one, what lasts included.
    white : ndarray, shape (m,)
        The same of what does not last.
    seconds : ndarray, shape (m,)
        How long the rest lasts. [s]
    """

    steps: Array
    covariances: Array
    noise: Array
    white: Array
    seconds: Array


@dataclass(frozen=True, slots=True)
class Estimate:
    """Parameters from one component or two.

    Attributes
    ----------
    step : ndarray, shape (p,)
        The parameters.
    covariance : ndarray, shape (p, p)
        Squared scale of a Student's t that has the mixture's 68.27 % interval.
    degrees_of_freedom : int
        Of that Student's t, so that it has the mixture's 95 % interval, too, as nearly as may be.
    noise : ndarray, shape (c,)
        Root mean square error of one frame over the assumed one, of each component, what lasts included.
    lasting : ndarray, shape (c,)
        Share of its variance that lasts from frame to frame.
    seconds : ndarray, shape (c,)
        How long it lasts: the time in which it fades to 1/e. [s]
    """

    step: Array
    covariance: Array
    degrees_of_freedom: int
    noise: Array
    lasting: Array
    seconds: Array


def estimate(*components: Component, steady: float = 0.0) -> Estimate | None:
    """Solve for the parameters that components share.

    Parameters
    ----------
    *components : Component
        One or two.
    steady : float
        Standard deviation of a steady change, from first frame to last, that the last one may hold besides. [rad]

    Returns
    -------
    Estimate or None
        None where the frames leave no residuals.
    """
    if not any(one.freedom for one in components):
        return None
    parts = [*(_pieces(one) for one in components[:-1]), _pieces(components[-1], steady)]
    if len(parts) == 1:
        odds = np.full(len(parts[0].noise), 1 / len(parts[0].noise))
        mixture, shares = (odds, parts[0].steps, parts[0].covariances), [odds]
    else:
        mixture, shares = _joined(*parts)
    most = sum(one.freedom for one in components)
    return Estimate(*_student(*mixture, most), *_noise(parts, shares))


def _special() -> Any:
    """SciPy's distributions, not at import."""
    from scipy import special

    return special


def _pieces(one: Component, steady: float = 0.0) -> _Pieces:
    """Gaussians for every strength, time and scale of the noise, thinned to those that stand for all."""
    middles = (np.arange(_SCALES) + 0.5) / _SCALES
    freedom = max(one.freedom, 1)
    chi_squares = one.chi_squares if one.freedom else np.ones_like(one.chi_squares)
    scale = chi_squares[:, None] / _special().chdtri(freedom, middles)  # of the variance, shape (h, s)
    size = (np.log(np.trace(one.inverses, axis1=1, axis2=2))[:, None] + np.log(scale)).ravel()
    # what is alike stays in order: else the last digit of a number chooses among strengths and times
    order = np.argsort(np.round(size, 9), kind="stable")
    reached = np.cumsum(np.repeat(one.odds, _SCALES)[order]) / _SCALES
    count = min(len(order), _SCALES**2)
    chosen = order[np.searchsorted(reached, (np.arange(count) + 0.5) / count * reached[-1])]
    h, variance = chosen // _SCALES, scale.ravel()[chosen]
    moved = steady * one.levers[h]
    return _Pieces(
        one.steps[h],
        one.inverses[h] * variance[:, None, None] + moved[:, :, None] * moved[:, None, :],
        np.sqrt(variance),
        np.sqrt(variance / (1 + one.strengths[h])),
        one.times[h],
    )


def _joined(first: _Pieces, second: _Pieces) -> tuple[tuple[Array, Array, Array], list[Array]]:
    """Odds, means and covariances of all pairs of pieces, and the odds of each piece."""
    apart = first.steps[:, None] - second.steps[None]
    ratio = np.log(second.white[None] / first.white[:, None])
    unlike = -1.5 * np.log1p((ratio / PRIOR_WIDTH) ** 2 / 2)
    sizes = np.concatenate([[0.0], _CONTRADICTIONS])
    chance = np.where(sizes > 0, _CONTRADICTS / len(_CONTRADICTIONS), 1 - _CONTRADICTS)
    # a contradiction adds to the variances of a pair's distance and leaves their axes, so one set of these serves all
    spreads, axes = np.linalg.eigh(first.covariances[:, None] + second.covariances)
    spreads = np.maximum(spreads, np.finfo(float).eps * spreads[..., -1:])
    wide = spreads + (sizes**2)[:, None, None, None]  # (sizes, first, second, p)
    along = np.einsum("ijpq,ijp->ijq", axes, apart)
    odds = np.log(chance)[:, None, None] + unlike - (along**2 / wide + np.log(wide)).sum(axis=-1) / 2
    odds = np.exp(odds - odds.max())
    odds /= odds.sum()
    shares = [odds.sum(axis=(0, 2)), odds.sum(axis=(0, 1))]
    s, i, j = np.nonzero(odds > np.exp(-NEGLIGIBLE) * odds.max())
    levers = first.covariances[i] @ axes[i, j]  # of a distance along these axes on the parameters
    gains = levers / wide[s, i, j][:, None]
    means = first.steps[i] - np.einsum("mpq,mq->mp", gains, along[i, j])
    covariances = first.covariances[i] - gains @ np.swapaxes(levers, -1, -2)
    return (odds[s, i, j] / odds[s, i, j].sum(), means, covariances), shares


def _student(odds: Array, means: Array, covariances: Array, most: int) -> tuple[Array, Array, int]:
    """Mean, covariance and degrees of freedom, up to so many, of the Student's t that is as wide as a mixture."""
    mean = odds @ means
    off = means - mean
    spread = np.einsum("m,mp,mq->pq", odds, off, off) + np.einsum("m,mpq->pq", odds, covariances)
    axes = np.linalg.eigh(spread)[1].T
    found = []
    for axis in axes:
        middle = off @ axis
        sigma = np.sqrt(np.maximum(np.einsum("p,mpq,q->m", axis, covariances, axis), 1e-300))
        typical = np.exp(odds @ np.log(np.hypot(middle, sigma)))
        reach = typical * _REACH[:, None]
        held = (_special().ndtr((reach - middle) / sigma) - _special().ndtr((-reach - middle) / sigma)) @ odds
        found.append(np.exp(np.interp([_NEAR, _WIDE], held, np.log(reach[:, 0]))))
    near, wide = np.array(found).T
    freedoms = np.arange(1, most + 1)
    quantiles = _special().stdtrit(freedoms, 0.5 + np.array([[_NEAR], [_WIDE]]) / 2)
    ratio = np.exp(np.mean(np.log(wide / near)))
    k = int(np.argmin(np.abs(np.log(quantiles[1] / quantiles[0] / ratio))))
    return mean, (axes.T * (near / quantiles[0, k]) ** 2) @ axes, int(freedoms[k])


def _noise(parts: list[_Pieces], shares: list[Array]) -> tuple[Array, Array, Array]:
    """Noise, lasting share and time of each component."""
    noise, lasting, seconds = [], [], []
    for part, odds in zip(parts, shares, strict=True):
        lasts = 1 - (part.white / part.noise) ** 2
        noise.append(np.sqrt(odds @ part.noise**2))
        lasting.append(odds @ lasts)
        weight = odds * lasts
        seconds.append(np.exp(weight @ np.log(part.seconds) / weight.sum()) if weight.sum() > 0 else 0.0)
    return np.array(noise), np.array(lasting), np.array(seconds)
