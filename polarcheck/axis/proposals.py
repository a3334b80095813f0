"""What else the frames may be: explanations beside that all of them are right and belong together.

Proposed are: every choice among a few frames; sorted by the axis' place in the camera; parted by a change at some
moment; parted by a knock that moved the axis itself, or by turns of the mount as a whole, which keep the axis' place
in the camera (`polarcheck.axis.mount_turns`); a declination that moved at every position.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.consensus import PRIOR_DOF, Consensus, scatter
from polarcheck.axis.least_squares import AxisSolution
from polarcheck.axis.mount_turns import solve_turned, turned_chi_square
from polarcheck.axis.robust import MAJORITY, TRIAL_FRAMES, Context, agree, compact, solve, spread
from polarcheck.axis.rotations import axis_by_rotation
from polarcheck.constants import DEGREE
from polarcheck.vectors import Array

__all__ = [
    "after_knocks",
    "after_turns",
    "by_place",
    "by_rotations",
    "few_left_out",
    "groupings",
    "likely_moments",
]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_MANY = 500  # frames beyond which moments of change are not looked for one by one
_FEW = 8  # frames up to which every choice among them is tried
_ALIKE = 1.8  # scatter up to which no further turn of the mount is looked for
_TURNS = 3  # of the mount that are looked for,
_PAIR = 2  # so many of them together, further ones beside these,
_SOLVED = 3  # so many choices of moments solved exactly
_FEWEST_ROTATIONS = 3  # frames whose rotations give an axis
_SHORTEST_STRETCH = 2  # frames between two turns
_GROUP_RADIUS = 0.3 * DEGREE  # of the axis' place in the camera, for a first sorting


def few_left_out(context: Context) -> Iterator[Consensus]:
    """Of a few frames of one camera, every choice that is a majority: trial axes from noisy pairs may miss it."""
    groups, count = context.attitudes.camera, len(context.attitudes.camera)
    if groups.any() or count > _FEW:
        return
    for size in range(count - 1, int(np.ceil(MAJORITY * count)) - 1, -1):
        for members in itertools.combinations(range(count), size):
            used = np.isin(np.arange(count), members)
            solution = solve(context, groups, used, context.pole)
            yield Consensus(solution, groups, used, scatter(groups, used, solution))


def by_rotations(context: Context, whole: Consensus) -> Consensus | None:
    """The declination moved at every position: only the rotations of all frames count."""
    if context.attitudes.camera.any() or len(whole.used) < _FEWEST_ROTATIONS:
        return None
    found = axis_by_rotation(context.attitudes, whole.axis, context.roll_ratio)
    scale = np.sqrt((PRIOR_DOF + found.chi_square) / (PRIOR_DOF + found.degrees_of_freedom))
    return replace(whole, rotations=found, scale=float(scale))


def groupings(context: Context) -> Iterator[Ints]:
    """Other ways to sort the frames: by the axis' place in the camera, and by a change at some moment."""
    seen: list[tuple[int, Ints]] = []
    count = len(context.attitudes.camera)
    many = count > _MANY
    for axis in context.trials[: 5 if many else None]:
        groups = by_place(context.attitudes, axis)
        _, counts = np.unique(groups, return_counts=True)
        links = int(np.sum(counts - 1))
        seen.append((links, groups))
    most = max(links for links, _ in seen)
    fresh: list[bytes] = []
    for links, groups in seen:
        if links == most and groups.tobytes() not in fresh and len(fresh) < 5:
            fresh.append(groups.tobytes())
            yield groups
    for k in spread(max(count - 3, 0), 0 if many else TRIAL_FRAMES) + 2:
        yield 2 * context.attitudes.camera + (np.arange(count) >= k)


def by_place(attitudes: Attitudes, axis: Array) -> Ints:
    """Return a first sorting, shape (n,): frames whose cameras see an axis at one place are one group."""
    place = np.einsum("nji,j->ni", attitudes.matrices, axis)
    groups = np.full(len(place), -1)
    while (groups < 0).any():
        leader = int(np.argmax(groups < 0))
        near = np.linalg.norm(place - place[leader], axis=-1) < 2 * _GROUP_RADIUS
        groups[near & (groups < 0) & (attitudes.camera == attitudes.camera[leader])] = groups.max() + 1
    return groups


def after_knocks(context: Context) -> Iterator[Consensus]:
    """For each moment before and after which the frames agree among themselves: the later ones."""
    count = len(context.attitudes.camera)
    for k in spread(max(count - 5, 0), 0 if count > _MANY else TRIAL_FRAMES) + 3:
        later = np.arange(count) >= k
        before = agree(context, _only(context.attitudes.camera, ~later))
        if before is None or (before.used != ~later).any():
            continue
        after = agree(context, _only(context.attitudes.camera, later))
        if after is not None and (after.used == later).all():
            yield replace(after, before=before)


def after_turns(context: Context) -> Iterator[Consensus]:
    """The mount turned as a whole at one moment, at two, at three; two frames at least between them."""
    groups = compact(context.attitudes, context.attitudes.camera)
    count = len(context.attitudes.camera)
    if groups is None or (groups < 0).any() or count > _MANY:
        return
    whole = solve(context, groups, np.ones(count, dtype=bool), context.trials[0])
    known: tuple[int, ...] = ()
    for turns in range(1, _TURNS + 1):
        likely = likely_moments(whole, groups, turns, known)
        if not likely:
            return
        best = min((_turned(context, groups, moments) for moments in likely), key=lambda o: o.chi_square)
        yield best
        assert best.turns is not None
        known = best.turns.moments
        if best.scale <= _ALIKE:
            return


def likely_moments(
    whole: AxisSolution, groups: Ints, turns: int, known: tuple[int, ...]
) -> list[tuple[int, ...]]:
    """Return the choices of so many moments that the misfits of one whole speak for most, to first order."""
    count = len(groups)
    moments = [2 + int(i) for i in spread(max(count - 3, 0), TRIAL_FRAMES)]
    together = itertools.combinations(moments, turns)
    choices = [tuple(sorted((*known, k))) for k in moments] if turns > _PAIR else list(together)
    apart = [c for c in choices if min(np.diff((0, *c, count))) >= _SHORTEST_STRETCH]
    return sorted(apart, key=lambda c: turned_chi_square(whole, groups, c))[:_SOLVED]


def _turned(context: Context, groups: Ints, moments: tuple[int, ...]) -> Consensus:
    moments = tuple(sorted(moments))
    solution, turns = solve_turned(context.attitudes, groups, moments, context.pole, context.roll_ratio)
    used = np.ones(len(groups), dtype=bool)
    return Consensus(solution, groups, used, scatter(groups, used, solution, 2 * len(moments)), turns=turns)


def _only(camera: Ints, part: Bools) -> Ints:
    """Cameras as groups for a part of the frames, all others single."""
    return np.where(part, camera, camera.max() + 1 + np.arange(len(camera)))
