"""The largest set of frames that agree about one axis, under a grouping that is given.

The robust fit starts from the pair of frames whose axis the majority agrees on (least trimmed squares) and takes in
frame after frame that an F test finds compatible, the assumed noise counted in as six degrees of freedom.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.consensus import PRIOR_DOF, UNLIKELY, Consensus, degrees_of_freedom, scatter
from polarcheck.axis.groups import group_means, roll_variance
from polarcheck.axis.least_squares import AxisSolution, axis_of_turn, solve_axis
from polarcheck.constants import DEGREE
from polarcheck.errors import GeometryError
from polarcheck.vectors import Array, cross

__all__ = [
    "MAJORITY",
    "SMALLEST_ARC_DEG",
    "TRIAL_FRAMES",
    "Context",
    "agree",
    "compact",
    "everything",
    "guests",
    "solve",
    "spread",
    "trial_axes",
]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

SMALLEST_ARC_DEG = 0.25
"""Turns shorter than this are no turns. [deg]"""
TRIAL_FRAMES = 40
"""Frames that give trial axes, and moments at which a change is tried."""
MAJORITY = 0.6
"""Share of the frames that must agree."""

_NEAR_POLE = 20 * DEGREE  # an axis further from the pole than this is not a polar axis
_TRIALS = 60
# trial axes that are followed up: those of least scatter may be of pairs that a wrong frame happens to fit; twice as
# many seldom find more, and only take longer
_STARTS = 6


@dataclass(frozen=True, slots=True)
class Context:
    """The frames that are judged.

    Attributes
    ----------
    attitudes : Attitudes
        In order of time.
    trials : ndarray, shape (p, 3)
        Axes to begin with.
    pole : ndarray, shape (3,)
        Near the axis.
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor.
    """

    attitudes: Attitudes
    trials: Array
    pole: Array
    roll_ratio: float


def everything(context: Context) -> Consensus:
    """All frames, one group a camera; single frames of a camera cannot take part."""
    groups = compact(context.attitudes, context.attitudes.camera)
    assert groups is not None  # trial_axes found a pair
    used = groups >= 0
    axis = context.trials[int(np.argmin(_cores(context, groups)[1]))]
    solution = solve(context, groups, used, axis)
    return Consensus(solution, guests(context.attitudes, groups), used, scatter(groups, used, solution))


def trial_axes(attitudes: Attitudes, pole: Array) -> Array:
    """Axes, shape (p, 3), of the turns between pairs of frames, longest turns first."""
    chosen = np.unique(np.linspace(0, len(attitudes.camera) - 1, TRIAL_FRAMES).astype(int))
    first, second = (
        np.array(side, dtype=int) for side in zip(*itertools.combinations(chosen, 2), strict=True)
    )
    alike = attitudes.camera[first] == attitudes.camera[second]
    first, second = first[alike], second[alike]
    if not len(first):
        raise GeometryError("no two frames come from the same camera; take at least two with one camera", 0.0)
    axes, angles = axis_of_turn(attitudes.matrices[first], attitudes.matrices[second])
    axes = np.where((axes @ pole < 0)[:, None], -axes, axes)
    turned = angles > SMALLEST_ARC_DEG * DEGREE
    if not turned.any():
        arc = float(angles.max() / DEGREE)
        raise GeometryError(
            f"the frames turn by only {arc:.2f} deg between them; turn the mount in right ascension by "
            "30 deg or more between frames, declination clamped",
            arc,
        )
    near = turned & (axes @ pole > np.cos(_NEAR_POLE))
    if not near.any():
        away = float(np.degrees(np.arccos(np.clip((axes @ pole)[turned].max(), -1, 1))))
        raise GeometryError(
            f"no two frames differ by a turn about an axis within {_NEAR_POLE / DEGREE:.0f} deg of the "
            f"pole (the nearest is {away:.0f} deg away): the declination or the camera moved between "
            "them, a frame is solved wrongly, or site or clock are far off",
            float(angles[turned].max() / DEGREE),
        )
    axes, angles = axes[near], angles[near]
    order = np.argsort(-np.sin(np.minimum(angles, np.pi) / 2), kind="stable")
    return np.asarray(axes[order[spread(len(order), _TRIALS)]])


def spread(count: int, most: int) -> Ints:
    """Up to `most` indices below `count`: half of them the first, the rest evenly over all."""
    if count <= most:
        return np.arange(count)
    rest = np.linspace(most // 2, count - 1, most - most // 2).astype(int)
    return np.concatenate([np.arange(most // 2), rest])


def agree(context: Context, groups: Ints, false_alarm: float = UNLIKELY) -> Consensus | None:
    """Take in all frames that agree under a grouping; None if it has no group of two.

    `false_alarm` is the chance that a good set of frames loses one.
    """
    numbered = compact(context.attitudes, groups)
    return None if numbered is None else _robust(context, numbered, false_alarm)


def _robust(context: Context, groups: Ints, false_alarm: float) -> Consensus:
    cores, costs = _cores(context, groups)
    best: tuple[float, Bools, AxisSolution] | None = None
    tried: set[bytes] = set()
    for t in np.argsort(costs, kind="stable")[:_STARTS]:
        core, axis = cores[t], context.trials[t]
        if core.tobytes() in tried:  # the same frames give the same axis
            continue
        solution = solve(context, groups, core, axis)
        tried.add(core.tobytes())
        closest = _closest(groups, _discrepancies(solution, groups, core, context))
        if (closest != core).any():
            core = closest
            solution = solve(context, groups, core, solution.axis)
            tried.add(core.tobytes())
        if best is None or solution.chi_square < best[0]:
            best = (solution.chi_square, core, solution)
    assert best is not None
    return _grow(context, groups, best[1], best[2], false_alarm)


def compact(attitudes: Attitudes, groups: Ints) -> Ints | None:
    """Number groups of two or more from 0; single frames go, as guests (see guests), to -1."""
    names, inverse, counts = np.unique(groups, return_inverse=True, return_counts=True)
    live = np.flatnonzero(counts >= 2)
    if not len(live):
        return None
    number = np.full(len(names), -1)
    number[live] = np.arange(len(live))
    return np.asarray(number[inverse])


def _cores(context: Context, groups: Ints) -> tuple[Bools, Array]:
    """For each trial axis the majority of each group with the axis nearest to one place in the camera; its scatter.

    Shapes (p, n) and (p,).
    """
    attitudes = context.attitudes
    place = np.einsum("nji,pj->pni", attitudes.matrices, context.trials)
    distance = np.full(place.shape[:2], np.inf)
    for g in range(groups.max() + 1):
        members = np.flatnonzero(groups == g)
        boresight = attitudes.boresights[attitudes.camera[members[0]]]
        middle = np.median(place[:, members], axis=1)
        normal = cross(boresight, middle)
        sine = np.linalg.norm(normal, axis=-1)
        offset = place[:, members] - middle[:, None]
        across = np.einsum("pni,pi->pn", offset, normal) / np.maximum(sine, 1e-9)[:, None]
        along_square = np.maximum(np.sum(offset**2, axis=-1) - across**2, 0)
        moment = attitudes.roll_moments[attitudes.camera[members[0]]]
        roll = roll_variance(sine**2, context.roll_ratio, moment)
        distance[:, members] = (along_square + across**2 / roll[:, None]) / attitudes.noise[members] ** 2
    cores = _closest(groups, distance)
    return cores, np.where(cores, distance, 0.0).sum(axis=-1)


def _closest(groups: Ints, distance: Array) -> Bools:
    """The majority of each group with the smallest distances, shape (..., n); two at least."""
    core = np.zeros(distance.shape, dtype=bool)
    for g in range(groups.max() + 1):
        members = np.flatnonzero(groups == g)
        most = max(min(3, len(members)), int(np.ceil(MAJORITY * len(members))))
        nearest = np.argsort(distance[..., members], axis=-1, kind="stable")[..., :most]
        np.put_along_axis(core, members[nearest], True, axis=-1)
    return core


def solve(context: Context, groups: Ints, used: Bools, start: Array) -> AxisSolution:
    """Fit the axis to the frames in use, in groups of which single frames are guests."""
    housed = guests(context.attitudes, groups)
    return solve_axis(context.attitudes, housed, used, start, roll_ratio=context.roll_ratio)


def guests(attitudes: Attitudes, groups: Ints) -> Ints:
    """Put single frames, unused, with the first group of their camera (or of any)."""
    housed = groups.copy()
    for i in np.flatnonzero(groups < 0):
        mates = np.flatnonzero((attitudes.camera == attitudes.camera[i]) & (groups >= 0))
        housed[i] = groups[mates[0]] if len(mates) else 0
    return housed


def _discrepancies(solution: AxisSolution, groups: Ints, used: Bools, context: Context) -> Array:
    """Half of each frame's squared distance from the fit, in its predicted variance, shape (n,)."""
    housed = guests(context.attitudes, groups)
    count = len(solution.cameras)
    total = np.bincount(housed, solution.weights, count)
    lever = solution.design - group_means(solution.design, housed, solution.weights, count)[housed]
    noise = context.attitudes.noise[:, None] ** 2 + 1 / total[housed][:, None]
    covariance = lever @ np.linalg.pinv(solution.information) @ np.swapaxes(lever, -1, -2)
    covariance[:, [0, 1], [0, 1]] += noise * solution.variances[housed]
    return np.asarray(
        np.einsum(
            "ni,ni->n", solution.misfit, np.linalg.solve(covariance, solution.misfit[..., None])[..., 0]
        )
        / 2
    )


def _grow(
    context: Context, groups: Ints, used: Bools, solution: AxisSolution, false_alarm: float
) -> Consensus:
    for _ in range(20):
        scale = scatter(groups, used, solution)
        limit = _critical(PRIOR_DOF + degrees_of_freedom(groups, used), false_alarm / len(groups))
        fits = (groups >= 0) & (_discrepancies(solution, groups, used, context) <= limit * scale**2)
        if not (fits & ~used).any():
            break
        used = used | fits
        solution = solve(context, groups, used, solution.axis)
    return Consensus(solution, guests(context.attitudes, groups), used, scatter(groups, used, solution))


def _critical(dof: float, chance: float) -> float:
    """Quantile of Fisher's F with 2 and `dof` degrees of freedom (closed form for 2)."""
    return float(dof / 2 * (chance ** (-2 / dof) - 1))
