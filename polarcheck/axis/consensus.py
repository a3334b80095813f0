"""One explanation of a set of frames: which are good, how they are grouped, whether the mount was turned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.least_squares import AxisSolution
from polarcheck.axis.mount_turns import MountTurns
from polarcheck.axis.rotations import RotationAxis
from polarcheck.vectors import Array

__all__ = ["PRIOR_DOF", "UNLIKELY", "Consensus", "degrees_of_freedom", "scatter"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

UNLIKELY = 1e-3
"""Chance below which nothing is counted with: that noise makes a frame stand out, that another explanation holds."""

PRIOR_DOF = 6
"""Degrees of freedom that the assumed noise counts for when explanations are judged."""

_DISAGREE = 20.0  # scatter over assumed noise beyond which no noise explains a set of frames
_TOLD = 0.01  # chance of other axes from which the reader is told


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
    before : Consensus or None
        What the frames before gave, where the mount moved and the declination with it; those in use are the later.
    rotations : RotationAxis or None
        The axis where the declination moved at every position, so that only the rotations count.
    rivals : tuple of (float, ndarray of shape (3,))
        Axes of other explanations of the same frames, each with the chance that it is the right one.
    """

    solution: AxisSolution
    groups: Ints
    used: Bools
    scale: float
    turns: MountTurns | None = None
    before: Consensus | None = None
    rotations: RotationAxis | None = None
    rivals: tuple[tuple[float, Array], ...] = ()

    @property
    def axis(self) -> Array:
        """The axis, shape (3,)."""
        return self.rotations.axis if self.rotations else self.solution.axis

    @property
    def agrees(self) -> bool:
        """Whether the frames in use scatter as noise would, and speak for one axis."""
        return self.scale <= _DISAGREE and sum(chance for chance, _ in self.rivals) < _TOLD

    @property
    def knocked_before(self) -> int | None:
        """First frame after the mount moved and the declination with it."""
        return int(np.flatnonzero(self.before.used)[-1]) + 1 if self.before else None

    @property
    def degrees_of_freedom(self) -> int:
        """Two per frame, less two for the axis, two for each group and two for each turn of the mount.

        By the rotations alone, one per frame, less two for the axis and one for the camera.
        """
        if self.rotations:
            return self.rotations.degrees_of_freedom
        turned = len(self.turns.moments) if self.turns else 0
        own = degrees_of_freedom(self.groups, self.used) - 2 * turned
        return own + self.before.degrees_of_freedom if self.before else own

    @property
    def chi_square(self) -> float:
        """Weighted sum of squared misfits for noise as assumed."""
        if self.rotations:
            return self.rotations.chi_square
        return self.solution.chi_square + (self.before.chi_square if self.before else 0.0)


def degrees_of_freedom(groups: Ints, used: Bools) -> int:
    """Two per frame in use, less two for the axis and two for each group."""
    return 2 * int(np.count_nonzero(used)) - 2 - 2 * len(np.unique(groups[used]))


def scatter(groups: Ints, used: Bools, solution: AxisSolution, further: int = 0) -> float:
    """Scatter over assumed noise, the assumption counted in; so many `further` numbers were solved for."""
    dof = max(degrees_of_freedom(groups, used) - further, 0)
    return float(np.sqrt((PRIOR_DOF + solution.chi_square) / (PRIOR_DOF + dof)))
