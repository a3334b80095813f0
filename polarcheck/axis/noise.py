"""How noisy the frames are: what counts as one observation, and roll against pointing.

Works on the linear equations that the least-squares fit leaves: each observation has a declination and a roll
component, and each says how a displacement of the axis would change it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.groups import group_means, roll_variance
from polarcheck.axis.least_squares import AxisSolution
from polarcheck.vectors import Array

__all__ = ["PRIOR_WIDTH", "Equations", "distinct_stations", "observation_equations", "roll_ratio"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_RATIOS = np.geomspace(0.25, 128, 73)
PRIOR_WIDTH = 0.25
"""Of the logarithm of roll noise over that of stars spread evenly; heavy tails beyond."""

_LEAST_DOF = 4  # below this the residuals cannot tell roll from pointing


@dataclass(frozen=True, slots=True)
class Equations:
    """Centred equations of `s` observations in `g` groups.

    Attributes
    ----------
    misfit : ndarray, shape (s, 2)
        Declination and roll component, less their group's weighted mean. [rad]
    design : ndarray, shape (s, 2, 2)
        Their change with a displacement of the axis, less the group's mean.
    groups : ndarray of int, shape (s,)
        Group of each observation.
    weights : ndarray, shape (s,)
        One over the assumed pointing variance. [rad^-2]
    sine_squares, moments : ndarray, shape (s,)
        Of the angle between boresight and axis; the camera's roll moment.
    """

    misfit: Array
    design: Array
    groups: Ints
    weights: Array
    sine_squares: Array
    moments: Array

    @property
    def degrees_of_freedom(self) -> int:
        """Two per observation, less two for the axis and two for each group."""
        return 2 * len(self.groups) - 2 - 2 * len(np.unique(self.groups))

    def roll_variances(self, ratio: float) -> Array:
        """Variance of the roll component in units of the pointing's, shape (s,)."""
        return roll_variance(self.sine_squares, ratio, self.moments)

    def normal(self, ratio: float) -> tuple[Array, Array, float]:
        """Return information (2, 2), gradient (2,) and the weighted sum of squared misfits."""
        weights = self.weights[:, None] / np.stack(
            [np.ones_like(self.weights), self.roll_variances(ratio)], axis=-1
        )
        information = np.einsum("sc,sci,scj->ij", weights, self.design, self.design)
        gradient = np.einsum("sc,sci,sc->i", weights, self.design, self.misfit)
        return information, gradient, float(np.sum(weights * self.misfit**2))


def distinct_stations(station: Ints, groups: Ints, used: Bools) -> Ints:
    """Return station numbers in which a group with a single station keeps its frames apart.

    A sequence tracked on one field is one station, but its solver's systematic error stays fixed in the
    camera and drops out; only where the mount went to several places do repeats at each share an error
    that the fit would take for noise of one frame.
    """
    distinct = station.copy()
    for g in np.unique(groups[used]):
        members = np.flatnonzero(used & (groups == g))
        if len(np.unique(station[members])) == 1:
            distinct[members] = station.max() + 1 + members
    return distinct


def observation_equations(
    attitudes: Attitudes,
    solution: AxisSolution,
    groups: Ints,
    used: Bools,
    station: Ints,
    misfit: Array | None = None,
) -> Equations:
    """Average the fit's equations over stations and centre them in their groups.

    Parameters
    ----------
    attitudes, solution, groups, used
        The fit.
    station : ndarray of int, shape (n,)
        Frames with one number (in one group) make one observation.
    misfit : ndarray, shape (n, 2), optional
        Instead of the fit's own. [rad]
    """
    key = np.unique(groups[used] * (station.max() + 1) + station[used], return_inverse=True)[1]
    size = np.bincount(key)

    def mean(values: Array) -> Array:
        return group_means(values[used], key, np.ones(len(key)), len(size))

    first = (
        np.array([np.argmax(key == k) for k in range(len(size))]) if len(size) < len(key) else np.argsort(key)
    )
    group = groups[used][first]
    weights = 1 / attitudes.noise[used][first] ** 2
    camera = attitudes.camera[used][first]
    boresight = np.einsum("sij,sj->si", solution.cameras[group], attitudes.boresights[camera])
    return Equations(
        misfit=_centred(mean(solution.misfit if misfit is None else misfit), group, weights),
        design=_centred(mean(solution.design), group, weights),
        groups=group,
        weights=weights,
        sine_squares=np.sum(np.cross(boresight, solution.axis) ** 2, axis=-1),
        moments=attitudes.roll_moments[camera],
    )


def roll_ratio(equations: Equations) -> float:
    """Estimate the roll noise over that of stars spread evenly over the sensor.

    Restricted maximum likelihood over a grid, with a heavy-tailed prior around 1 (Student's t with two
    degrees of freedom in the logarithm): near 1 for few frames or ordinary noise, led by the residuals
    where these clearly say otherwise, as with solutions made without a distortion fit.

    References
    ----------
    .. [1] H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545 (from memory).
    """
    dof = equations.degrees_of_freedom
    if dof < _LEAST_DOF:
        return 1.0
    variances = np.stack([equations.roll_variances(ratio) for ratio in _RATIOS])  # (ratios, s)
    rows = np.concatenate([equations.misfit[..., None], equations.design], axis=-1)  # (s, 2, 3)
    square = equations.weights[:, None, None, None] * rows[..., :, None] * rows[..., None, :]
    moments = square[:, 0].sum(axis=0) + np.tensordot(1 / variances, square[:, 1], axes=1)  # (ratios, 3, 3)
    sizes = np.bincount(equations.groups)[equations.groups]
    spread = np.log(variances) @ (1 - 1 / sizes)
    # the determinant of all three rows is that of the information times the least chi square
    whole, information = np.linalg.slogdet(moments)[1], np.linalg.slogdet(moments[:, 1:, 1:])[1]
    prior = 3 * np.log1p((np.log(_RATIOS) / PRIOR_WIDTH) ** 2 / 2)
    cost = dof * (whole - information) + spread + information + prior
    return float(_RATIOS[int(np.argmin(cost))]) if np.isfinite(cost).all() else 1.0


def _centred(values: Array, groups: Ints, weights: Array) -> Array:
    return np.asarray(values - group_means(values, groups, weights, int(groups.max()) + 1)[groups])
