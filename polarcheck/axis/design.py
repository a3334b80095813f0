"""What frames would say about the axis before they are taken.

A frame at a turn of the mount tells two components of the axis' displacement, as in `least_squares`; over the turns
of a sweep they add up to its information. Angles in radians; information in units of one over the pointing variance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.least_squares import axis_levers
from polarcheck.vectors import Array, rotation_matrix, tangent_basis, unit

__all__ = ["SweepDesign", "chosen_frames", "pointing_at", "sweep_design"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]
Worth = Callable[[Array], Array]


@dataclass(frozen=True, slots=True)
class SweepDesign:
    """What frames at `m` candidate turns of one sweep (one declination, one camera) would say.

    Attributes
    ----------
    levers : ndarray, shape (m, 2, 2)
        Change of each frame's declination and roll component with a displacement of the axis along `tangent_basis`.
    roll_variance : float
        Variance of the roll component in units of the pointing's.
    """

    levers: Array
    roll_variance: float

    def information(self, chosen: Ints) -> Array:
        """Return the information, shape (..., 2, 2), of frames at chosen candidates, shape (..., n)."""
        rows = self.levers[chosen]
        centred = rows - rows.mean(axis=-3, keepdims=True)
        weights = np.array([1.0, 1 / self.roll_variance])
        return np.asarray(np.einsum("c,...nci,...ncj->...ij", weights, centred, centred))


def pointing_at(axis: Array, distance: float, angles: npt.ArrayLike, north: bool) -> Array:
    """Return boresights, shape (..., 3), at a distance from the axis and at axis angles (westward). [rad]"""
    zenith = np.array([0.0, 0.0, 1.0])
    upper = zenith - axis[2] * axis
    upper = unit(upper) if np.linalg.norm(upper) > 1e-12 else np.array([0.0, -1.0 if north else 1.0, 0.0])
    start = np.cos(distance) * axis + np.sin(distance) * upper
    turns = rotation_matrix(axis, np.asarray(angles, dtype=float) * (-1.0 if north else 1.0))
    return np.asarray(turns @ start)


def sweep_design(axis: Array, boresights: Array, roll_moment: float, roll_ratio: float = 1.0) -> SweepDesign:
    """Return what frames of one sweep would say.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        The elevated end.
    boresights : ndarray, shape (m, 3)
        Candidates, all at one distance from the axis.
    roll_moment : float
        Mean squared sine of the stars' distance from the boresight; see `Attitudes.roll_moments`.
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor.
    """
    normal = np.cross(boresights, axis)
    sine = np.linalg.norm(normal, axis=-1)
    normal = np.where(
        sine[:, None] > 1e-9, normal / np.maximum(sine, 1e-300)[:, None], tangent_basis(axis)[:, 0]
    )
    planes = np.stack([normal, np.cross(normal, axis)], axis=1)
    square = float(np.mean(sine)) ** 2
    return SweepDesign(planes @ axis_levers(axis), 1 - square + square * roll_ratio**2 / roll_moment)


def chosen_frames(
    design: SweepDesign, angles: Array, allowed: Bools, count: int, apart: float, worth: Worth
) -> Ints:
    """Choose the candidates that together are worth most, by exchanging one at a time.

    Parameters
    ----------
    design : SweepDesign
    angles : ndarray, shape (m,)
        Axis angles of the candidates, growing. [rad]
    allowed : ndarray of bool, shape (m,)
        Which of them can be taken.
    count : int
        How many frames.
    apart : float
        Least distance between two of them; frames of the same stars repeat the same errors. [rad]
    worth : callable
        From information, shape (..., 2, 2), to a cost, shape (...), to make small.

    Returns
    -------
    ndarray of int, shape (count,)
        Growing; empty where so many do not fit.
    """
    places = np.flatnonzero(allowed)
    starts = [_spread(angles, places, count, apart), _ends(angles, places, count, apart)]
    starts = [start for start in starts if len(start) == count]
    if not starts or count < 2:
        return starts[0] if starts else places[:0]
    found = [_exchanged(design, angles, places, start, apart, worth) for start in starts]
    return min(found, key=lambda chosen: float(worth(design.information(chosen))))


def _exchanged(
    design: SweepDesign, angles: Array, places: Ints, start: Ints, apart: float, worth: Worth
) -> Ints:
    chosen, best = start, float(worth(design.information(start)))
    for _ in range(12):
        before = best
        for i in range(len(chosen)):
            others = np.delete(chosen, i)
            free = places[np.abs(angles[places, None] - angles[others]).min(axis=1) >= apart - 1e-9]
            trials = np.column_stack([np.broadcast_to(others, (len(free), len(others))), free])
            costs = worth(design.information(trials))
            if len(free) and costs.min() < best * (1 - 1e-9):
                best = float(costs.min())
                chosen = np.sort(trials[int(costs.argmin())])
        if best >= before * (1 - 1e-6):
            break
    return chosen


def _ends(angles: Array, places: Ints, count: int, apart: float) -> Ints:
    """Another first choice: half of the frames at either end; empty where so many do not fit."""
    left, right = (
        _packed(angles, places, apart),
        _packed(-angles[::-1], len(angles) - 1 - places[::-1], apart),
    )
    right = len(angles) - 1 - right
    half = count // 2
    if len(left) < count - half or len(right) < half:
        return places[:0]
    chosen = np.sort(np.concatenate([left[: count - half], right[:half]]))
    return chosen if np.diff(angles[chosen], append=np.inf).min() >= apart - 1e-9 else places[:0]


def _packed(angles: Array, places: Ints, apart: float) -> Ints:
    """As many places as keep apart, from the first on."""
    fitting: list[int] = []
    for place in places:
        if not fitting or angles[place] - angles[fitting[-1]] >= apart - 1e-9:
            fitting.append(int(place))
    return np.array(fitting, dtype=int)


def _spread(angles: Array, places: Ints, count: int, apart: float) -> Ints:
    """A first choice: as evenly as the open places allow; empty where so many do not fit."""
    if not len(places):
        return places[:0]
    fitting = _packed(angles, places, apart)
    if len(fitting) < count:
        return places[:0]
    wanted = np.linspace(angles[places[0]], angles[places[-1]], count) if count > 1 else angles[places[:1]]
    near: Ints = places[np.abs(angles[places, None] - wanted).argmin(axis=0)]
    if count > 1 and np.diff(angles[near]).min() < apart - 1e-9:
        near = fitting[np.linspace(0, len(fitting) - 1, count).round().astype(int)]
    return near
