"""A mount that was turned as a whole between frames: a knob, or a knock.

Such a turn leaves the axis where it is in the camera and carries both to another place on the sky. So frames before
and after share the camera's attitude to the axis, and each stretch of frames between two turns has an axis of its
own: two numbers for each turn. The frames of earlier stretches are carried along with the mount to where the last
stretch has them, and all are fitted as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.groups import group_means
from polarcheck.axis.least_squares import (
    MOST_STEPS,
    SETTLED,
    AxisSolution,
    axis_levers,
    axis_of_turn,
    solve_axis,
)
from polarcheck.vectors import Array, rotation_matrix, unit

__all__ = ["MountTurns", "narrowed_by_turns", "solve_turned", "turned_chi_square"]

Ints = npt.NDArray[np.int_]


@dataclass(frozen=True, slots=True)
class MountTurns:
    """When the mount was turned as a whole, and how.

    Attributes
    ----------
    moments : tuple of int
        First frame after each turn.
    rotations : ndarray, shape (t + 1, 3, 3)
        What carries each stretch of frames to where the last one has them, East-North-Up; the last is none.
    """

    moments: tuple[int, ...]
    rotations: Array

    def stretch(self, count: int) -> Ints:
        """Return the number of each frame's stretch, counted from 0, shape (count,)."""
        return np.searchsorted(np.array(self.moments), np.arange(count), side="right")

    def carried(self, attitudes: Attitudes) -> Attitudes:
        """Return the frames as the mount would have taken them after the last turn."""
        return self._turned(attitudes, self.rotations)

    def as_taken(self, carried: Attitudes) -> Attitudes:
        """Return the frames as they were, from those that were `carried`."""
        return self._turned(carried, np.swapaxes(self.rotations, -1, -2))

    def _turned(self, attitudes: Attitudes, rotations: Array) -> Attitudes:
        turning = rotations[self.stretch(len(attitudes.matrices))]
        return replace(
            attitudes,
            matrices=turning @ attitudes.matrices,
            observed=np.einsum("nij,nkj->nki", turning, attitudes.observed),
        )

    def axis_before(self, axis: Array) -> Array:
        """Return the axis as it stood before the last turn, for one after it."""
        return np.asarray(self.rotations[-2].T @ axis)


def solve_turned(
    attitudes: Attitudes, groups: Ints, moments: Sequence[int], pole: Array, roll_ratio: float
) -> tuple[AxisSolution, MountTurns]:
    """Fit one axis for each stretch of frames between turns of the mount, and one place of it in each group's camera.

    Parameters
    ----------
    attitudes : Attitudes
        The frames in order of time, all of them in use.
    groups : ndarray of int, shape (n,)
        Group of every frame.
    moments : sequence of int
        First frame after each turn, rising.
    pole : ndarray, shape (3,)
        Near the axes.
    roll_ratio : float
        As for `solve_axis`.

    Returns
    -------
    AxisSolution
        Of the frames as `MountTurns.carried` has them; its axis is that of the last stretch. Its information does
        not know that turns were solved for, see `narrowed_by_turns`.
    MountTurns
    """
    used = np.ones(len(groups), dtype=bool)
    turns = _first_turns(attitudes, groups, tuple(moments), pole, roll_ratio)
    carried = turns.carried(attitudes)
    start = unit(_mean_axis(carried, pole))
    for _ in range(MOST_STEPS):
        solution = solve_axis(carried, groups, used, start, roll_ratio=roll_ratio)
        steps = _steps(solution, groups, turns.stretch(len(groups)))
        levers = steps @ axis_levers(solution.axis).T
        turns = replace(turns, rotations=_rotations(-levers) @ turns.rotations)
        if np.abs(steps).max() < SETTLED:
            break
        carried, start = turns.carried(attitudes), solution.axis
    return solution, turns


def narrowed_by_turns(solution: AxisSolution, groups: Ints, stretch: Ints) -> Array:
    """Return the axis' information when the turns are unknown, too, shape (2, 2). [rad^-2]

    Parameters
    ----------
    solution : AxisSolution
        Of `solve_turned`.
    groups, stretch : ndarray of int, shape (n,)
        Group and stretch of every frame.
    """
    rows = _centred(solution, groups, stretch)
    square = np.einsum("nc,nci,ncj->ij", *rows)
    own, cross, others = square[1:3, 1:3], square[1:3, 3:], square[3:, 3:]
    return np.asarray(own - cross @ np.linalg.pinv(others, hermitian=True) @ cross.T)


def turned_chi_square(solution: AxisSolution, groups: Ints, moments: Sequence[int]) -> float:
    """Return the weighted sum of squared misfits that turns at some moments would leave, to first order.

    Parameters
    ----------
    solution : AxisSolution
        Of all frames without a turn.
    groups : ndarray of int, shape (n,)
        Group of every frame.
    moments : sequence of int
        First frame after each turn.
    """
    stretch = np.searchsorted(np.array(moments), np.arange(len(groups)), side="right")
    weights, rows, _ = _centred(solution, groups, stretch)
    flat = (np.sqrt(weights)[..., None] * rows).reshape(2 * len(groups), -1)
    square = flat.T @ flat
    solved = np.linalg.lstsq(square[1:, 1:], square[1:, 0], rcond=1e-12)[0]
    return float(square[0, 0] - square[1:, 0] @ solved)


def _first_turns(
    attitudes: Attitudes, groups: Ints, moments: tuple[int, ...], pole: Array, roll_ratio: float
) -> MountTurns:
    """Turns by the axis' place in the camera that the longest stretch gives."""
    count = len(groups)
    stretch = np.searchsorted(np.array(moments), np.arange(count), side="right")
    longest = stretch == int(np.argmax(np.bincount(stretch)))
    present, inverse = np.unique(groups[longest], return_inverse=True)
    number = np.zeros(int(groups.max()) + 1, dtype=int)
    number[present] = np.arange(len(present))
    del inverse
    solution = solve_axis(
        attitudes,
        number[groups],
        longest,
        _mean_axis(attitudes, pole),
        roll_ratio=roll_ratio,
    )
    places = np.einsum("gji,j->gi", solution.cameras, solution.axis)[number[groups]]
    known = np.isin(groups, present)
    axes = np.einsum("nij,nj->ni", attitudes.matrices, places)
    each = np.stack([unit(axes[known & (stretch == s)].mean(axis=0)) for s in range(len(moments) + 1)])
    across = np.cross(each, each[-1])
    size = np.linalg.norm(across, axis=-1)
    angle = np.arctan2(size, each @ each[-1])
    return MountTurns(moments, rotation_matrix(across / np.maximum(size, 1e-300)[:, None], angle))


def _mean_axis(attitudes: Attitudes, pole: Array) -> Array:
    """The axis of the widest turn between two frames that lies nearest to the pole, to begin with."""
    first = np.zeros(len(attitudes.matrices) - 1, dtype=int)
    axes, angles = axis_of_turn(attitudes.matrices[first], attitudes.matrices[1:])
    axes = np.where((axes @ pole < 0)[:, None], -axes, axes)
    near = (axes @ pole > 0.9) & (angles > 0.01)
    return np.asarray(axes[int(np.argmax(np.where(near, angles, -1.0)))] if near.any() else pole)


def _centred(solution: AxisSolution, groups: Ints, stretch: Ints) -> tuple[Array, Array, Array]:
    """Weights (n, 2), and twice the rows (n, 2, 3 + 2t) of misfit, axis, and turns, less their groups' means."""
    earlier = (stretch[:, None] == np.arange(int(stretch.max()))).astype(float)  # (n, t)
    turned = (solution.design[:, :, None, :] * earlier[:, None, :, None]).reshape(len(groups), 2, -1)
    rows = np.concatenate([solution.misfit[..., None], solution.design, turned], axis=-1)
    rows = rows - group_means(rows, groups, solution.weights, len(solution.cameras))[groups]
    return solution.weights[:, None] / solution.variances[groups], rows, rows


def _steps(solution: AxisSolution, groups: Ints, stretch: Ints) -> Array:
    """Displacements of the earlier stretches against the model, shape (t + 1, 2); none of the last."""
    square = np.einsum("nc,nci,ncj->ij", *_centred(solution, groups, stretch))
    found = np.linalg.lstsq(square[1:, 1:], square[1:, 0], rcond=1e-12)[0][2:]
    return np.concatenate([found.reshape(-1, 2), np.zeros((1, 2))])


def _rotations(vectors: Array) -> Array:
    angle = np.linalg.norm(vectors, axis=-1)
    return rotation_matrix(vectors / np.maximum(angle, 1e-300)[:, None], angle)
