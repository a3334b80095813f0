"""Which frames belong together, and which contradict the rest.

Frames that share a camera attitude (one declination, pier side and camera rotation) form a group: seen
from the camera, the mount's axis stands at one place. The data tell the groups; a frame solved elsewhere,
a knocked mount or a slipped declination shows as a frame that no group takes in.

The way: all frames of a camera are one group, unless their scatter asks for something else. Then explanations are
proposed: without the frames that a robust fit leaves out; every choice among a few frames; sorted by the axis' place in
the camera; parted by a change at some moment; parted by a knock that moved the axis itself, or by turns of the mount as
a whole, which keep the axis' place in the camera (`polarcheck.axis.mount_turns`); a declination that moved at every
position. One likelihood weighs them all (`polarcheck.axis.evidence`). The most probable is taken; the others, where
their axis is another one, widen the sigma by their chance.

The robust fit starts from the pair of frames whose axis the majority agrees on (least trimmed squares) and takes in
frame after frame that an F test finds compatible, the assumed noise counted in as six degrees of freedom.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.consensus import PRIOR_DOF, Consensus, degrees_of_freedom, scatter
from polarcheck.axis.evidence import chances
from polarcheck.axis.groups import group_means, roll_variance
from polarcheck.axis.least_squares import AxisSolution, axis_of_turn, solve_axis
from polarcheck.axis.mount_turns import solve_turned, turned_chi_square
from polarcheck.axis.rotations import axis_by_rotation
from polarcheck.constants import DEGREE
from polarcheck.errors import GeometryError
from polarcheck.vectors import Array, tangent_basis

__all__ = ["SMALLEST_ARC_DEG", "find_consensus"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

SMALLEST_ARC_DEG = 0.25
"""Turns shorter than this are no turns. [deg]"""

_NEAR_POLE = 20 * DEGREE  # an axis further from the pole than this is not a polar axis
_TRIAL_FRAMES = 40  # frames that give trial axes
_TRIALS = 60
_MANY = 500  # frames beyond which moments of change are not looked for one by one
_MAJORITY = 0.6
_FEW = 8  # frames up to which every choice among them is tried
_FALSE_ALARM = 1e-3  # chance that a good set of frames loses one
_STRICT = 0.05  # the same, where a wrong frame is in the set and may hide another
_CLEAN = 1.5  # scatter over assumed noise up to which nobody asks for another explanation
_UNLIKELY = 1e-3  # chance below which another explanation is not counted with
_SURE = 0.95  # chance at which an explanation is believed that leaves no residuals
_DECIDED = 0.9  # chance at which the most probable is taken where all frames as one are not excluded,
_EXCLUDED = 0.01  # as below this chance they are
_ELSEWHERE = 4.0  # squared standard errors from which another explanation's axis is another one
_ALIKE = 1.8  # scatter up to which no further turn of the mount is looked for
_TURNS = 3  # of the mount that are looked for,
_PAIR = 2  # so many of them together, further ones beside these,
_SOLVED = 3  # so many choices of moments solved exactly
_FEWEST_ROTATIONS = 3  # frames whose rotations give an axis
_SHORTEST_STRETCH = 2  # frames between two turns
_GROUP_RADIUS = 0.3 * DEGREE  # of the axis' place in the camera, for a first sorting


def find_consensus(attitudes: Attitudes, pole: Array, roll_ratio: float = 1.0) -> Consensus:
    """Sort frames into groups, leave out what contradicts the rest, and fit the axis.

    Parameters
    ----------
    attitudes : Attitudes
        The frames in order of time.
    pole : ndarray, shape (3,)
        Where the axis should point, East-North-Up; trial axes lie within 20 deg of it.
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor.

    Raises
    ------
    GeometryError
        No two frames of a camera differ by a turn about anything near the pole.
    """
    context = _Context(attitudes, _trial_axes(attitudes, pole), pole, roll_ratio)
    whole = _everything(context)
    robust = _agree(context, attitudes.camera.copy())
    if robust is not None and (robust.used == whole.used).all() and whole.scale <= _CLEAN:
        return whole
    options = [
        whole,
        robust,
        _agree(context, attitudes.camera.copy(), _STRICT),
        *_few_left_out(context),
        *(_agree(context, groups) for groups in _groupings(context)),
        *_after_knocks(context),
        *_after_turns(context),
        _by_rotations(context, whole),
    ]
    return _most_probable(_distinct(options), context)


def _distinct(options: Sequence[Consensus | None]) -> list[Consensus]:
    """Each explanation once."""
    found: dict[tuple[object, ...], Consensus] = {}
    for one in options:
        if one is not None:
            sorting = one.used.tobytes(), one.groups[one.used].tobytes()
            moments = one.turns.moments if one.turns else ()
            found.setdefault((*sorting, moments, one.knocked_before, one.rotations is None), one)
    return list(found.values())


def _most_probable(options: list[Consensus], context: _Context) -> Consensus:
    """The most probable explanation, with the others that point elsewhere; the first is that of all frames as one.

    One that leaves no residuals (a pair of frames) is taken only where it is all but certain. Where nothing is decided
    all frames stay, as long as they may be right: their mean is nearer to the truth than a wrong choice among them.
    """
    chance = chances(options, context.attitudes, context.pole)
    bare = np.array([one.degrees_of_freedom <= 0 for one in options])
    believed = np.where(bare & (chance < _SURE), -1.0, chance)
    likeliest = int(np.argmax(believed))
    undecided = believed[likeliest] < _DECIDED and chance[0] > _EXCLUDED
    chosen = options[0 if undecided else likeliest]
    counted = [(float(c), one.axis) for c, one in zip(chance, options, strict=True) if c > _UNLIKELY]
    return replace(chosen, rivals=tuple((c, axis) for c, axis in counted if _is_elsewhere(axis, chosen)))


def _is_elsewhere(axis: Array, chosen: Consensus) -> bool:
    apart = tangent_basis(chosen.axis).T @ axis
    information = (chosen.rotations or chosen.solution).information
    return bool(apart @ information @ apart > _ELSEWHERE * chosen.scale**2)


def _everything(context: _Context) -> Consensus:
    """All frames, one group a camera; single frames of a camera cannot take part."""
    groups = _compact(context.attitudes, context.attitudes.camera)
    assert groups is not None  # _trial_axes found a pair
    used = groups >= 0
    starts = [_core(context, groups, axis) for axis in context.trials]
    axis = context.trials[int(np.argmin([cost for _, cost in starts]))]
    solution = _solve(context, groups, used, axis)
    return Consensus(solution, _guests(context.attitudes, groups), used, scatter(groups, used, solution))


@dataclass(frozen=True, slots=True)
class _Context:
    attitudes: Attitudes
    trials: Array  # (p, 3)
    pole: Array  # (3,)
    roll_ratio: float


def _trial_axes(attitudes: Attitudes, pole: Array) -> Array:
    """Axes, shape (p, 3), of the turns between pairs of frames, longest turns first."""
    chosen = np.unique(np.linspace(0, len(attitudes.camera) - 1, _TRIAL_FRAMES).astype(int))
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
    return np.asarray(axes[order[_spread(len(order), _TRIALS)]])


def _spread(count: int, most: int) -> Ints:
    """Up to `most` indices below `count`: half of them the first, the rest evenly over all."""
    if count <= most:
        return np.arange(count)
    rest = np.linspace(most // 2, count - 1, most - most // 2).astype(int)
    return np.concatenate([np.arange(most // 2), rest])


def _agree(context: _Context, groups: Ints, false_alarm: float = _FALSE_ALARM) -> Consensus | None:
    """Take in all frames that agree under a grouping; None if it has no group of two."""
    compact = _compact(context.attitudes, groups)
    return None if compact is None else _robust(context, compact, false_alarm)


def _robust(context: _Context, groups: Ints, false_alarm: float) -> Consensus:
    starts = []
    for axis in context.trials:
        cores, cost = _core(context, groups, axis)
        starts.append((cost, cores, axis))
    starts.sort(key=lambda start: start[0])
    best: tuple[float, Bools, AxisSolution] | None = None
    for _, core, axis in starts[:3]:
        solution = _solve(context, groups, core, axis)
        for _ in range(2):
            core = _closest(groups, _discrepancies(solution, groups, core, context))
            solution = _solve(context, groups, core, solution.axis)
        if best is None or solution.chi_square < best[0]:
            best = (solution.chi_square, core, solution)
    assert best is not None
    return _grow(context, groups, best[1], best[2], false_alarm)


def _few_left_out(context: _Context) -> Iterator[Consensus]:
    """Of a few frames of one camera, every choice that is a majority: trial axes from noisy pairs may miss it."""
    groups, count = context.attitudes.camera, len(context.attitudes.camera)
    if groups.any() or count > _FEW:
        return
    for size in range(count - 1, int(np.ceil(_MAJORITY * count)) - 1, -1):
        for members in itertools.combinations(range(count), size):
            used = np.isin(np.arange(count), members)
            solution = _solve(context, groups, used, context.pole)
            yield Consensus(solution, groups, used, scatter(groups, used, solution))


def _by_rotations(context: _Context, whole: Consensus) -> Consensus | None:
    """The declination moved at every position: only the rotations of all frames count."""
    if context.attitudes.camera.any() or len(whole.used) < _FEWEST_ROTATIONS:
        return None
    found = axis_by_rotation(context.attitudes, whole.axis, context.roll_ratio)
    scale = np.sqrt((PRIOR_DOF + found.chi_square) / (PRIOR_DOF + found.degrees_of_freedom))
    return replace(whole, rotations=found, scale=float(scale))


def _compact(attitudes: Attitudes, groups: Ints) -> Ints | None:
    """Number groups of two or more from 0; single frames go, as guests (see _guests), to -1."""
    names, inverse, counts = np.unique(groups, return_inverse=True, return_counts=True)
    live = np.flatnonzero(counts >= 2)
    if not len(live):
        return None
    number = np.full(len(names), -1)
    number[live] = np.arange(len(live))
    return np.asarray(number[inverse])


def _core(context: _Context, groups: Ints, axis: Array) -> tuple[Bools, float]:
    """The majority of each group with the axis nearest to one place in the camera, and its scatter."""
    attitudes = context.attitudes
    place = np.einsum("nji,j->ni", attitudes.matrices, axis)
    distance = np.full(len(groups), np.inf)
    for g in range(groups.max() + 1):
        members = np.flatnonzero(groups == g)
        boresight = attitudes.boresights[attitudes.camera[members[0]]]
        middle = np.median(place[members], axis=0)
        normal = np.cross(boresight, middle)
        sine = np.linalg.norm(normal)
        offset = place[members] - middle
        across = offset @ normal / max(sine, 1e-9)
        along_square = np.maximum(np.sum(offset**2, axis=-1) - across**2, 0)
        moment = attitudes.roll_moments[attitudes.camera[members[0]]]
        roll = roll_variance(sine**2, context.roll_ratio, moment)
        distance[members] = (along_square + across**2 / roll) / attitudes.noise[members] ** 2
    core = _closest(groups, distance)
    return core, float(distance[core].sum())


def _closest(groups: Ints, distance: Array) -> Bools:
    """The majority of each group with the smallest distances; two at least."""
    core = np.zeros(len(groups), dtype=bool)
    for g in range(groups.max() + 1):
        members = np.flatnonzero(groups == g)
        most = max(min(3, len(members)), int(np.ceil(_MAJORITY * len(members))))
        core[members[np.argsort(distance[members], kind="stable")[:most]]] = True
    return core


def _solve(context: _Context, groups: Ints, used: Bools, start: Array) -> AxisSolution:
    guests = _guests(context.attitudes, groups)
    return solve_axis(context.attitudes, guests, used, start, roll_ratio=context.roll_ratio)


def _guests(attitudes: Attitudes, groups: Ints) -> Ints:
    """Put single frames, unused, with the first group of their camera (or of any)."""
    housed = groups.copy()
    for i in np.flatnonzero(groups < 0):
        mates = np.flatnonzero((attitudes.camera == attitudes.camera[i]) & (groups >= 0))
        housed[i] = groups[mates[0]] if len(mates) else 0
    return housed


def _discrepancies(solution: AxisSolution, groups: Ints, used: Bools, context: _Context) -> Array:
    """Half of each frame's squared distance from the fit, in its predicted variance, shape (n,)."""
    housed = _guests(context.attitudes, groups)
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
    context: _Context, groups: Ints, used: Bools, solution: AxisSolution, false_alarm: float
) -> Consensus:
    for _ in range(20):
        scale = scatter(groups, used, solution)
        limit = _critical(PRIOR_DOF + degrees_of_freedom(groups, used), false_alarm / len(groups))
        fits = (groups >= 0) & (_discrepancies(solution, groups, used, context) <= limit * scale**2)
        if not (fits & ~used).any():
            break
        used = used | fits
        solution = _solve(context, groups, used, solution.axis)
    return Consensus(solution, _guests(context.attitudes, groups), used, scatter(groups, used, solution))


def _critical(dof: float, chance: float) -> float:
    """Quantile of Fisher's F with 2 and `dof` degrees of freedom (closed form for 2)."""
    return float(dof / 2 * (chance ** (-2 / dof) - 1))


def _groupings(context: _Context) -> Iterator[Ints]:
    """Other ways to sort the frames: by the axis' place in the camera, and by a change at some moment."""
    seen: list[tuple[int, Ints]] = []
    count = len(context.attitudes.camera)
    many = count > _MANY
    for axis in context.trials[: 5 if many else None]:
        groups = _by_place(context.attitudes, axis)
        _, counts = np.unique(groups, return_counts=True)
        links = int(np.sum(counts - 1))
        seen.append((links, groups))
    most = max(links for links, _ in seen)
    fresh: list[bytes] = []
    for links, groups in seen:
        if links == most and groups.tobytes() not in fresh and len(fresh) < 5:
            fresh.append(groups.tobytes())
            yield groups
    for k in _spread(max(count - 3, 0), 0 if many else _TRIAL_FRAMES) + 2:
        yield 2 * context.attitudes.camera + (np.arange(count) >= k)


def _by_place(attitudes: Attitudes, axis: Array) -> Ints:
    place = np.einsum("nji,j->ni", attitudes.matrices, axis)
    groups = np.full(len(place), -1)
    while (groups < 0).any():
        leader = int(np.argmax(groups < 0))
        near = np.linalg.norm(place - place[leader], axis=-1) < 2 * _GROUP_RADIUS
        groups[near & (groups < 0) & (attitudes.camera == attitudes.camera[leader])] = groups.max() + 1
    return groups


def _after_knocks(context: _Context) -> Iterator[Consensus]:
    """For each moment before and after which the frames agree among themselves: the later ones."""
    count = len(context.attitudes.camera)
    for k in _spread(max(count - 5, 0), 0 if count > _MANY else _TRIAL_FRAMES) + 3:
        later = np.arange(count) >= k
        before, after = (_agree(context, _only(context.attitudes.camera, part)) for part in (~later, later))
        if before and after and (before.used == ~later).all() and (after.used == later).all():
            yield replace(after, before=before)


def _after_turns(context: _Context) -> Iterator[Consensus]:
    """The mount turned as a whole at one moment, at two, at three; two frames at least between them."""
    groups = _compact(context.attitudes, context.attitudes.camera)
    count = len(context.attitudes.camera)
    if groups is None or (groups < 0).any() or count > _MANY:
        return
    whole = _solve(context, groups, np.ones(count, dtype=bool), context.trials[0])
    known: tuple[int, ...] = ()
    for turns in range(1, _TURNS + 1):
        likely = _likely_moments(whole, groups, turns, known)
        if not likely:
            return
        best = min((_turned(context, groups, moments) for moments in likely), key=lambda o: o.chi_square)
        yield best
        assert best.turns is not None
        known = best.turns.moments
        if best.scale <= _ALIKE:
            return


def _likely_moments(
    whole: AxisSolution, groups: Ints, turns: int, known: tuple[int, ...]
) -> list[tuple[int, ...]]:
    """The choices of so many moments that the misfits of one whole speak for most, to first order."""
    count = len(groups)
    moments = [2 + int(i) for i in _spread(max(count - 3, 0), _TRIAL_FRAMES)]
    together = itertools.combinations(moments, turns)
    choices = [tuple(sorted((*known, k))) for k in moments] if turns > _PAIR else list(together)
    apart = [c for c in choices if min(np.diff((0, *c, count))) >= _SHORTEST_STRETCH]
    return sorted(apart, key=lambda c: turned_chi_square(whole, groups, c))[:_SOLVED]


def _turned(context: _Context, groups: Ints, moments: tuple[int, ...]) -> Consensus:
    moments = tuple(sorted(moments))
    solution, turns = solve_turned(context.attitudes, groups, moments, context.pole, context.roll_ratio)
    used = np.ones(len(groups), dtype=bool)
    return Consensus(solution, groups, used, scatter(groups, used, solution, 2 * len(moments)), turns=turns)


def _only(camera: Ints, part: Bools) -> Ints:
    """Cameras as groups for a part of the frames, all others single."""
    return np.where(part, camera, camera.max() + 1 + np.arange(len(camera)))
