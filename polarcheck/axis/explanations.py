"""Which frames belong together, and which contradict the rest.

Frames that share a camera attitude (one declination, pier side and camera rotation) form a group: seen
from the camera, the mount's axis stands at one place. The data tell the groups; a frame solved elsewhere,
a knocked mount or a slipped declination shows as a frame that no group takes in.

The way: all frames of a camera are one group, unless something else explains them significantly better (an
F test, with the assumed noise as six prior degrees of freedom): without the frames that a robust fit leaves
out; sorted by the axis' place in the camera; parted by a change at some moment; parted by a knock that moved
the axis itself. The robust fit starts from the pair of frames whose axis the majority agrees on (least
trimmed squares) and takes in frame after frame that the same F test finds compatible. A mount that was turned as
a whole, by a knob or a knock, keeps its axis' place in the camera, see `polarcheck.axis.mount_turns`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.groups import group_means, roll_variance
from polarcheck.axis.least_squares import AxisSolution, axis_of_turn, solve_axis
from polarcheck.axis.mount_turns import MountTurns, solve_turned, turned_chi_square
from polarcheck.constants import DEGREE
from polarcheck.errors import GeometryError
from polarcheck.vectors import Array, tangent_basis

__all__ = ["SMALLEST_ARC_DEG", "Consensus", "find_consensus"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

SMALLEST_ARC_DEG = 0.25
"""Turns shorter than this are no turns. [deg]"""

_NEAR_POLE = 20 * DEGREE  # an axis further from the pole than this is not a polar axis
_TRIAL_FRAMES = 40  # frames that give trial axes
_TRIALS = 60
_MANY = 500  # frames beyond which moments of change are not looked for one by one
_MAJORITY = 0.6
_EVERY_MAJORITY = 8  # frames up to which every choice is tried
_UNLIKELY = 1e-3  # chance below which another choice of frames is not counted with
_PRIOR_DOF = 6.0  # degrees of freedom that the assumed noise counts for when frames are judged
_FALSE_ALARM = 1e-3  # chance that a good set of frames loses one
_STRICT = 0.05  # the same, where a wrong frame is in the set and may hide another
_ALIKE = 1.8  # ratio of scatters up to which explanations fit alike
_CLEAN = 3.0  # scatter over assumed noise up to which nobody asks for a better explanation
_DISAGREE = 20.0  # scatter over assumed noise beyond which no noise explains a set of frames
_BETTER, _FAR_BETTER = 2e-4, 1e-6  # chances at which another explanation is accepted as a better one:
_RIVAL, _SUSPECT = 1e-3, 2.0  # chance and scatter at which it is at least told, and the sigma widened
_BEYOND_NOISE = 4.0  # above this scatter over assumed noise the first, below it the second
_CLEARLY_NEARER = 4.0  # how much nearer to the pole a bare pair's axis must lie to be believed
_ELSEWHERE = 4.0  # squared standard errors from which another explanation's axis is another one
_PRICE = 1.5  # frames that a group or a turn of the mount must explain
_TURNS = 3  # of the mount that are looked for,
_PAIR = 2  # so many of them together, further ones beside these,
_SOLVED = 3  # so many choices of moments solved exactly
_SHORTEST_STRETCH = 2  # frames between two turns
_TAKES_TURNS = 1.0  # further price of groups between which the frames go to and fro
_GROUP_RADIUS = 0.3 * DEGREE  # of the axis' place in the camera, for a first sorting


@dataclass(frozen=True, slots=True)
class Consensus:
    """A set of frames that agree on an axis.

    Attributes
    ----------
    solution : AxisSolution
        The fit to them.
    groups : ndarray of int, shape (n,)
        Group of each frame; for a frame left out, the group it comes nearest to.
    used : ndarray of bool, shape (n,)
        Frames in use.
    scale : float
        Scatter over assumed noise, the assumption counted in.
    turns : MountTurns or None
        Turns of the mount as a whole between the frames; the solution is that of the frames carried along.
    knocked_before : int or None
        First frame after the mount moved and the declination with it; the frames in use are those after.
    before : Consensus or None
        What the frames before that gave.
    rivals : tuple of (float, ndarray of shape (3,))
        Axes of other explanations that are nearly as good, with other frames left out or parted otherwise,
        each with the chance that it is the right one.
    """

    solution: AxisSolution
    groups: Ints
    used: Bools
    scale: float
    turns: MountTurns | None = None
    knocked_before: int | None = None
    before: Consensus | None = None
    rivals: tuple[tuple[float, Array], ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether the frames in use scatter as noise would."""
        return self.scale <= _DISAGREE and not self.rivals

    @property
    def degrees_of_freedom(self) -> int:
        """Two per frame, less two for the axis, two for each group and two for each turn of the mount."""
        own = _degrees_of_freedom(self.groups, self.used) - 2 * self._turns
        return own + self.before.degrees_of_freedom if self.before else own

    @property
    def _turns(self) -> int:
        return len(self.turns.moments) if self.turns else 0

    @property
    def worth(self) -> tuple[float, float]:
        """Larger is better among explanations that all fit: frames explained, at a price for what explains.

        A further group or a turn of the mount must explain two more frames, both at once four: a wrong frame is
        likelier than a slip of arcseconds.
        """
        groups = self.groups[self.used]
        count = len(np.unique(groups))
        explained = np.count_nonzero(self.used) - _PRICE * (count + self._turns)
        if np.count_nonzero(np.diff(groups)) >= count:
            explained -= _TAKES_TURNS
        return explained + (self.before.worth[0] - _PRICE if self.before else 0.0), -self.scale

    @property
    def chi_square(self) -> float:
        """Weighted sum of squared misfits for noise as assumed."""
        return self.solution.chi_square + (self.before.chi_square if self.before else 0.0)


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
    strict = _agree(context, attitudes.camera.copy(), _STRICT)
    options = [
        robust,
        strict,
        _best_majority(context),
        *(_agree(context, groups) for groups in _groupings(context)),
        *_after_knocks(context),
        *_after_turns(context),
    ]
    limit = _BETTER if whole.scale > _BEYOND_NOISE else _FAR_BETTER
    chances = [(_chance(option, whole, context), option) for option in options if option]
    better = [option for chance, option in chances if chance <= limit]
    if not better:
        chance, rival = min(chances, key=lambda pair: pair[0], default=(1.0, whole))
        undecided = chance <= _RIVAL and whole.scale > _SUSPECT
        return replace(whole, rivals=((1.0, rival.solution.axis),)) if undecided else whole
    clean = _ALIKE * max(min(option.scale for option in better), 1.0)
    chosen = max((option for option in better if option.scale <= clean), key=lambda option: option.worth)
    rivals = _other_choices(context, chosen) + _as_good(chosen, [o for o in better if o.scale <= clean])
    return replace(chosen, rivals=rivals)


def _everything(context: _Context) -> Consensus:
    """All frames, one group a camera; single frames of a camera cannot take part."""
    groups = _compact(context.attitudes, context.attitudes.camera)
    assert groups is not None  # _trial_axes found a pair
    used = groups >= 0
    starts = [_core(context, groups, axis) for axis in context.trials]
    axis = context.trials[int(np.argmin([cost for _, cost in starts]))]
    solution = _solve(context, groups, used, axis)
    return Consensus(solution, _guests(context.attitudes, groups), used, _scale(groups, used, solution))


def _chance(option: Consensus, whole: Consensus, context: _Context) -> float:
    """The chance that a set of frames which is one whole would look as much better when parted so."""
    from scipy.special import fdtrc  # not needed on clean nights

    dof = option.degrees_of_freedom
    extra = whole.degrees_of_freedom - dof
    gain = whole.solution.chi_square - option.chi_square
    if extra <= 0 or gain <= 0 or (dof == 0 and not _clearly_polar(option, context)):
        return 1.0
    f = gain / extra / ((_PRIOR_DOF + option.chi_square) / (_PRIOR_DOF + dof))
    return float(fdtrc(extra, _PRIOR_DOF + dof, f))


def _clearly_polar(option: Consensus, context: _Context) -> bool:
    """Whether a bare pair's axis lies so much nearer to the pole than other pairs' that it is believed."""
    distance = np.sort(np.arccos(np.clip(context.trials @ context.pole, -1, 1)))
    mine = float(np.arccos(np.clip(option.solution.axis @ context.pole, -1, 1)))
    return len(distance) < 2 or (_CLEARLY_NEARER * mine < distance[1])


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


def _best_majority(context: _Context) -> Consensus | None:
    """Of a few frames of one camera, the majority that agrees best: trial axes from noisy pairs may miss it."""
    count = len(context.attitudes.camera)
    groups = context.attitudes.camera
    if groups.any() or not 4 <= count <= _EVERY_MAJORITY:
        return None
    size = max(3, int(np.ceil(_MAJORITY * count)))
    return min(_choices(context, size), key=lambda option: option.scale)


def _choices(context: _Context, size: int) -> list[Consensus]:
    """All ways to choose so many frames of one camera, each with its fit."""
    groups = context.attitudes.camera
    found = []
    for members in itertools.combinations(range(len(groups)), size):
        used = np.isin(np.arange(len(groups)), members)
        solution = _solve(context, groups, used, context.pole)
        found.append(Consensus(solution, groups, used, _scale(groups, used, solution)))
    return found


def _other_choices(context: _Context, chosen: Consensus) -> tuple[tuple[float, Array], ...]:
    """Axes of as many other frames of a few that may be the right ones, by their likelihood."""
    count, size = len(chosen.used), int(np.count_nonzero(chosen.used))
    if (
        context.attitudes.camera.any()
        or chosen.groups.any()
        or chosen.before
        or count > _EVERY_MAJORITY
        or size < 3
    ):
        return ()
    choices = _choices(context, size)
    spread = max(min(option.scale for option in choices), 1.0)
    chi_squares = np.array([option.chi_square for option in choices]) / spread**2
    odds = np.exp(-(chi_squares - chi_squares.min()) / 2)
    odds /= odds.sum()
    return tuple(
        (float(chance), option.solution.axis)
        for chance, option in zip(odds, choices, strict=True)
        if chance > _UNLIKELY and (option.used != chosen.used).any()
    )


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
        scale = _scale(groups, used, solution)
        limit = _critical(_PRIOR_DOF + _degrees_of_freedom(groups, used), false_alarm / len(groups))
        fits = (groups >= 0) & (_discrepancies(solution, groups, used, context) <= limit * scale**2)
        if not (fits & ~used).any():
            break
        used = used | fits
        solution = _solve(context, groups, used, solution.axis)
    return Consensus(solution, _guests(context.attitudes, groups), used, _scale(groups, used, solution))


def _scale(groups: Ints, used: Bools, solution: AxisSolution) -> float:
    dof = _degrees_of_freedom(groups, used)
    return float(np.sqrt((_PRIOR_DOF + solution.chi_square) / (_PRIOR_DOF + dof)))


def _degrees_of_freedom(groups: Ints, used: Bools) -> int:
    return 2 * int(np.count_nonzero(used)) - 2 - 2 * len(np.unique(groups[used]))


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
            yield replace(after, knocked_before=int(k), before=before)


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
    dof = _degrees_of_freedom(groups, used) - 2 * len(moments)
    scale = float(np.sqrt((_PRIOR_DOF + solution.chi_square) / (_PRIOR_DOF + max(dof, 0))))
    return Consensus(solution, groups, used, scale, turns=turns)


def _as_good(chosen: Consensus, others: list[Consensus]) -> tuple[tuple[float, Array], ...]:
    """Axes of explanations at the same price that fit nearly as well and point elsewhere, with their chances."""
    spread = np.linalg.pinv(chosen.solution.information, hermitian=True) * chosen.scale**2
    rivals: list[tuple[float, Array]] = []
    for other in others:
        apart = tangent_basis(chosen.solution.axis).T @ other.solution.axis
        if other is chosen or other.worth[0] < chosen.worth[0] or (other.used != chosen.used).any():
            continue
        if apart @ np.linalg.pinv(spread, hermitian=True) @ apart < _ELSEWHERE or any(
            np.allclose(other.solution.axis, axis, atol=1e-7) for _, axis in rivals
        ):
            continue
        odds = float(
            np.exp(-max(other.chi_square - chosen.chi_square, 0.0) / 2 / max(chosen.scale, 1.0) ** 2)
        )
        if odds / (1 + odds) > _UNLIKELY:
            rivals.append((odds / (1 + odds), other.solution.axis))
    return tuple(rivals)


def _only(camera: Ints, part: Bools) -> Ints:
    """Cameras as groups for a part of the frames, all others single."""
    return np.where(part, camera, camera.max() + 1 + np.arange(len(camera)))
