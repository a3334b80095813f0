"""Observed directions to the mount's axis with its covariance: the heart of polarcheck.

Joins the rooms below: attitudes, the consensus about which frames agree, and the least-squares fit; then
weighs roll against pointing, scales the covariance, and asks what else would move the axis or help it.
Pure geometry: East-North-Up unit vectors in, radians out; no files, clocks or sites.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.consensus import PRIOR_DOF, Consensus
from polarcheck.axis.course import Course, followed_fields
from polarcheck.axis.explanations import find_consensus
from polarcheck.axis.least_squares import AxisSolution, solve_axis
from polarcheck.axis.mount_turns import MountTurns, narrowed_by_turns
from polarcheck.axis.noise import distinct_stations, observation_equations, roll_ratio
from polarcheck.axis.tracked import TrackedAxis, fit_tracked
from polarcheck.axis.tracked_solution import tracked_solution
from polarcheck.constants import DEGREE
from polarcheck.vectors import Array, tangent_basis, unit, wrap

__all__ = ["AxisFit", "axis_angle", "fit_axis", "roll_ratio_of"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]


_FEW = 6  # degrees of freedom below which a choice among frames tells on their scatter
_RIVAL = 3 * DEGREE
_LEAST_ROLL_RATIO = 0.25  # where rolls are quieter, it is because places are not


@dataclass(frozen=True, slots=True, repr=False)
class AxisFit:
    """The mount's axis, and how sure it is.

    Attributes
    ----------
    axis : ndarray, shape (3,)
        East-North-Up unit vector of the end that points at the visible pole.
    covariance : ndarray, shape (2, 2)
        Of the axis on its tangent plane (azimuth times cos altitude, altitude), flexure not counted.
        [rad^2]
    degrees_of_freedom : int
        Of the residuals; 0 when the covariance rests on the assumed noise.
    noise : float
        One-sigma pointing noise of a frame per coordinate over the assumed one: from the residuals, or
        1 where they cannot tell.
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor, as the residuals have it.
    used : ndarray of bool, shape (n,)
        Frames in use.
    groups : ndarray of int, shape (n,)
        Group of each frame, counted from 0.
    station : ndarray of int, shape (n,)
        Frames in use with one number count as one observation.
    axis_angles : ndarray, shape (n,)
        See `axis_angle`. [rad]
    arc : float
        Largest span of axis angles within one group. [rad]
    residuals : ndarray, shape (n,)
        Root mean square over the sensor points, seen against modelled. [rad]
    misfit : ndarray, shape (n, 2)
        How far the declination, and the roll times sin(distance from the axis), of a frame are from its
        group's. [rad]
    camera_axes : ndarray, shape (g, 3)
        The axis fixed in each group's camera.
    turns : MountTurns or None
        How the mount was turned as a whole between the frames, if it was. The axis is that after the last turn;
        `solution` and `attitudes` are those of the frames carried along to it.
    knocked_before : int or None
        First frame after the mount was moved and the declination with it; only later frames are in use then.
    agrees : bool
        False when the frames scatter far beyond any noise and too few are there to tell which is wrong.
    slow_change : {"declination", "bend"} or None
        What else moved, see `polarcheck.axis.slow_changes`.
    solution, attitudes
        The fit and the frames' attitudes, for what is asked later.
    tracked : TrackedAxis or None
        What is known besides where the frames followed one field or several.
    """

    axis: Array
    covariance: Array
    degrees_of_freedom: int
    noise: float
    roll_ratio: float
    used: Bools
    groups: Ints
    station: Ints
    axis_angles: Array
    arc: float
    residuals: Array
    misfit: Array
    camera_axes: Array

    knocked_before: int | None
    agrees: bool
    solution: AxisSolution
    attitudes: Attitudes
    turns: MountTurns | None = None
    slow_change: Literal["declination", "bend"] | None = None
    tracked: TrackedAxis | None = None

    @property
    def is_guided(self) -> bool:
        """Whether a guider held the field of some frames in use, so that only their rotation counts."""
        return self.tracked is not None and bool(self.tracked.guided[self.groups[self.used]].any())

    @property
    def contradiction(self) -> Array | None:
        """The axis by rotation alone less that by place alone, shape (2,), where they contradict each other. [rad]"""
        return None if self.tracked is None else self.tracked.contradiction

    def __repr__(self) -> str:
        used = int(np.count_nonzero(self.used))
        return f"AxisFit({used} of {len(self.used)} frames, arc {np.degrees(self.arc):.1f} deg)"

    @property
    def group_sizes(self) -> Ints:
        """Frames in use in each group, shape (g,)."""
        return np.bincount(self.groups[self.used], minlength=len(self.camera_axes))


def fit_axis(
    observed: Array,
    weights: Array,
    noise: Array,
    pole: Array,
    *,
    camera: Ints | None = None,
    station: Ints | None = None,
    course: Course | None = None,
) -> AxisFit:
    """Fit the rotation axis to frames between which the mount turned in right ascension only.

    Parameters
    ----------
    observed : ndarray, shape (n, k, 3)
        Observed directions (East-North-Up unit vectors) of `k` sensor points in each of `n` frames, in
        order of time.
    weights : ndarray, shape (k,)
        Weights of the points, sum 1; `polarcheck.frames.SENSOR_WEIGHTS`.
    noise : ndarray, shape (n,)
        Assumed one-sigma pointing noise of each frame, per coordinate. [rad]
    pole : ndarray, shape (3,)
        The visible pole, East-North-Up; only decides which end of the axis is meant.
    camera : ndarray of int, shape (n,), optional
        Camera of each frame, counted from 0. One camera if not given.
    station : ndarray of int, shape (n,), optional
        Frames with the same number show the same stars in the same place, so that they share their
        solver's systematic error and count as one. All count for themselves if not given.
    course : Course, optional
        When and at which stars the frames were taken; without it no errors that last are looked for, and no
        guider.

    Returns
    -------
    AxisFit

    Raises
    ------
    GeometryError
        Too few frames, or no turn between them; or too few guided ones.
    """
    count = len(observed)
    camera = np.zeros(count, dtype=int) if camera is None else camera
    attitudes = camera_attitudes(observed, weights, camera, noise)
    track = None if course is None else followed_fields(attitudes, course)
    if (
        station is None or track is not None
    ):  # frames that follow the sky are a sequence, however slowly they drift
        station = np.arange(count)
    tracked = None if course is None or track is None else fit_tracked(attitudes, track, pole, course.guided)
    if tracked is not None:
        return _of_tracked(attitudes, tracked, bool(pole[1] > 0))
    judged = _judged(attitudes)
    consensus = find_consensus(judged, pole, 1.0)
    if consensus.rotations:  # places tell nothing, of the noise neither
        return _weighed(attitudes, consensus, station, 1.0, bool(pole[1] > 0))
    ratio = _roll_ratio(attitudes, consensus, station)
    if not 0.5 < ratio < 2:  # judge the frames once more, with the weights that they call for
        consensus = find_consensus(judged, pole, ratio)
        ratio = _roll_ratio(attitudes, consensus, station)
    return _weighed(attitudes, consensus, station, ratio, bool(pole[1] > 0))


def axis_angle(axis: Array, direction: Array, north: bool) -> Array:
    """Return the angle about the axis from its upper meridian to a direction, growing westward.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        Elevated end, East-North-Up.
    direction : ndarray, shape (..., 3)
        Boresights.
    north : bool
        Whether the axis points at the north celestial pole.

    Returns
    -------
    ndarray, shape (...)
        Within +-pi, like the hour angle in both hemispheres: positive when the direction stands west of
        the plane through axis and zenith. [rad]
    """
    zenith = np.array([0.0, 0.0, 1.0])
    upper = unit(zenith - axis[2] * axis) if abs(axis[2]) < 1 - 1e-15 else np.array([0.0, -1.0, 0.0])
    across = np.cross(axis, upper)
    angle = np.arctan2(direction @ across, direction @ upper)
    return np.asarray(wrap(-angle if north else angle))


def _judged(attitudes: Attitudes) -> Attitudes:
    """Attitudes whose assumed noise is raised to what the frames' shapes betray.

    White noise of star positions that moves a linear solution's pointing by sigma deforms it, root mean
    square over the sensor, by sqrt(3) sigma: of its six parameters three are rigid and three are shape.
    """
    shape = np.median(attitudes.residuals(attitudes.matrices) / attitudes.noise) / np.sqrt(3)
    return replace(attitudes, noise=attitudes.noise * max(1.0, float(shape)))


def _roll_ratio(attitudes: Attitudes, consensus: Consensus, station: Ints) -> float:
    groups, used = consensus.groups, consensus.used
    attitudes = _carried(attitudes, consensus)
    distinct = distinct_stations(station, groups, used)
    return roll_ratio(observation_equations(attitudes, consensus.solution, groups, used, distinct))


def _carried(attitudes: Attitudes, consensus: Consensus) -> Attitudes:
    return consensus.turns.carried(attitudes) if consensus.turns else attitudes


def _weighed(attitudes: Attitudes, consensus: Consensus, station: Ints, ratio: float, north: bool) -> AxisFit:
    """The last fit, with the final weights, and its covariance."""
    groups, used, turns = consensus.groups, consensus.used, consensus.turns
    attitudes = _carried(attitudes, consensus)
    station = distinct_stations(station, groups, used)
    shares = 1 / np.bincount(station[used], minlength=station.max() + 1)[station].clip(1)
    solution = solve_axis(attitudes, groups, used, consensus.solution.axis, roll_ratio=ratio, shares=shares)
    equations = observation_equations(attitudes, solution, groups, used, station)
    information, _, chi_square = equations.normal(ratio)
    if turns:
        information = narrowed_by_turns(solution, groups, turns.stretch(len(groups)))
    dof = max(equations.degrees_of_freedom - (2 * len(turns.moments) if turns else 0), 0)
    noise = float(np.sqrt(chi_square / dof)) if dof else 1.0
    rejected = ~used & np.isin(attitudes.camera, attitudes.camera[used])
    rejected &= np.hypot(*solution.misfit.T) < _RIVAL  # what is solved elsewhere was never a choice
    if dof < _FEW and rejected.any():  # frames chosen because they agree scatter less than they should
        noise = max(noise, float(np.sqrt((PRIOR_DOF + chi_square) / (PRIOR_DOF + dof))))
    pointing = np.einsum("nij,nj->ni", attitudes.matrices, attitudes.boresights[attitudes.camera])
    angles = axis_angle(solution.axis, pointing, north)
    if consensus.rotations:
        information, dof = consensus.rotations.information, max(consensus.degrees_of_freedom, 0)
        noise = max(consensus.scale, 1.0)
    covariance = noise**2 * np.linalg.pinv(information, hermitian=True)
    for chance, rival in consensus.rivals:  # the truth may as well lie there
        apart = tangent_basis(consensus.axis).T @ rival
        covariance = covariance + chance * np.outer(apart, apart)
    return AxisFit(
        axis=consensus.axis,
        covariance=np.asarray(covariance, dtype=float),
        degrees_of_freedom=dof,
        noise=noise,
        roll_ratio=ratio,
        used=used,
        groups=groups,
        station=station,
        axis_angles=angles,
        arc=max(_span(angles[used & (groups == g)]) for g in range(len(solution.cameras))),
        residuals=attitudes.residuals(solution.models),
        misfit=solution.misfit,
        camera_axes=np.einsum("gji,j->gi", solution.cameras, solution.axis),
        turns=turns,
        knocked_before=consensus.knocked_before,
        agrees=consensus.agrees,
        solution=replace(solution, information=information),
        attitudes=attitudes,
        slow_change="declination" if consensus.rotations else None,
    )


def roll_ratio_of(noise: Array) -> float:
    """Return the roll ratio by which tracked frames weigh, from the noise of place and rotation, or of rotation alone."""
    return max(float(noise[-1] / noise[0]), _LEAST_ROLL_RATIO) if len(noise) == 2 else 1.0


def _of_tracked(attitudes: Attitudes, found: TrackedAxis, north: bool) -> AxisFit:
    """The fit to frames that followed the sky."""
    both = found.estimate
    noise = float(both.noise[0])
    ratio = roll_ratio_of(both.noise)
    solution = tracked_solution(attitudes, found, ratio, noise)
    pointing = np.einsum("nij,nj->ni", attitudes.matrices, attitudes.boresights[attitudes.camera])
    angles = axis_angle(found.axis, pointing, north)
    return AxisFit(
        axis=found.axis,
        covariance=found.covariance,
        degrees_of_freedom=round(both.degrees_of_freedom),
        noise=noise,
        roll_ratio=ratio,
        used=found.used,
        groups=found.groups,
        station=np.arange(len(found.used)),
        axis_angles=angles,
        arc=max(_span(angles[found.used & (found.groups == g)]) for g in np.unique(found.groups[found.used])),
        residuals=attitudes.residuals(solution.models),
        misfit=solution.misfit,
        camera_axes=np.einsum("gji,j->gi", solution.cameras, found.axis),
        knocked_before=found.knocked_before,
        agrees=True,
        solution=solution,
        attitudes=attitudes,
        tracked=found,
    )


def _span(angles: Array) -> float:
    """Length of the shortest arc of the circle that holds all angles. [rad]"""
    ordered = np.sort(angles % (2 * np.pi))
    gaps = np.diff(ordered, append=ordered[0] + 2 * np.pi)
    return float(2 * np.pi - gaps.max())
