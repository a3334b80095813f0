"""The mount's axis as a direction fixed in the camera, and what one further frame makes of it.

While right ascension turns or slips, and while the knobs tilt and swing the whole mount, the axis keeps its
place in the camera as long as declination and camera stay clamped. So one new frame, which gives the camera's
attitude, gives the new axis: exact for any tilt of the base and any slip in right ascension. Frames at several
right-ascension positions show the axis by their arc, too, and where it is in the camera better than before.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.axis.consensus import PRIOR_DOF
from polarcheck.axis.fit import AxisFit
from polarcheck.axis.groups import group_means
from polarcheck.axis.least_squares import MOST_STEPS, SETTLED
from polarcheck.axis.polar import polar_places
from polarcheck.vectors import Array, angle_between, best_rotations, rotation_matrix, tangent_basis, unit

__all__ = ["CameraAxis", "FollowedAxis", "axes_alone", "camera_axis", "carry_axis", "foretold_information"]

_FLOOR = 1e-10  # [rad] noise at least; keeps what is noise-free solvable
_UNSEEN = 1e-4  # of what was known: less information counts as none


@dataclass(frozen=True, slots=True)
class CameraAxis:
    """The axis in one camera, with all that a later frame needs.

    Attributes
    ----------
    template : ndarray, shape (k, 3)
        Directions of the sensor points in the camera.
    weights : ndarray, shape (k,)
        Weights of the points.
    axis : ndarray, shape (3,)
        The axis there.
    covariance : ndarray, shape (3, 3)
        Of `axis`; its normal direction carries none. [rad^2]
    attitude : ndarray, shape (3, 3)
        Of the camera in the last frame, to East-North-Up.
    noise_px : float
        One-sigma pointing noise of a frame, per coordinate. [px]
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor.
    degrees_of_freedom : int
        Behind the noise; 0 if it is assumed.
    """

    template: Array
    weights: Array
    axis: Array
    covariance: Array
    attitude: Array
    noise_px: float
    roll_ratio: float
    degrees_of_freedom: int

    @property
    def boresight(self) -> Array:
        """Weighted mean direction of the sensor points in the camera, shape (3,)."""
        return unit(self.weights @ self.template)

    def attitude_noise(self, pixel: float) -> Array:
        """Return the covariance of a new frame's attitude as a rotation in the camera, shape (3, 3).

        Parameters
        ----------
        pixel : float
            The pixel's angle. [rad]
        """
        along = np.outer(self.boresight, self.boresight)
        moment = float((1 - (self.template @ self.boresight) ** 2) @ self.weights)
        roll = self.roll_ratio**2 / moment
        return np.asarray((self.noise_px * pixel) ** 2 * (np.eye(3) - along + roll * along))


@dataclass(frozen=True, slots=True)
class FollowedAxis:
    """The axis that new frames show.

    Attributes
    ----------
    axis : ndarray, shape (3,)
        East-North-Up unit vector.
    covariance : ndarray, shape (2, 2)
        On its tangent plane (azimuth times cos altitude, altitude). [rad^2]
    own : ndarray, shape (2, 2)
        The part of it that is the new frames' noise. [rad^2]
    attitudes : ndarray, shape (n, 3, 3)
        Of the new frames.
    apart : ndarray, shape (n,)
        How far the axis that each frame shows by itself is from theirs. [rad]
    apart_sigma : ndarray, shape (n,)
        The noise that was expected of it before. [rad]
    noise_factor : float
        Variance of a frame as these show it and the ones before, over what was expected.
    shape_misfit : ndarray, shape (n,)
        How far the sensor points' shape is from the camera's. [rad]
    relief : ndarray, shape (n,)
        By how much the weighed squares that are left over would fall without each frame; 0 of one or two. [-]
    camera : CameraAxis
        The axis in the camera with what the new frames tell of it, and the noise that they show.
    camera_moved : float
        How far the axis in the camera is, by the new frames alone, from where it was before, in sigmas; 0 where they
        cannot tell, as one frame cannot.
    """

    axis: Array
    covariance: Array
    own: Array
    attitudes: Array
    apart: Array
    apart_sigma: Array
    noise_factor: float
    shape_misfit: Array
    relief: Array
    camera: CameraAxis
    camera_moved: float

    def widened(self) -> FollowedAxis:
        """Return the same with as much noise of the new frames as their scatter shows; two frames at least."""
        scatter = float(np.sum((self.apart / self.apart_sigma) ** 2)) / (len(self.apart) - 1)
        return replace(
            self, covariance=self.covariance + max(scatter / self.noise_factor - 1, 0.0) * self.own
        )


def camera_axis(fit: AxisFit, frame: int, pixel: float) -> CameraAxis:
    """Return the axis fixed in the camera that took a frame in use, with its covariance.

    Parameters
    ----------
    fit : AxisFit
        The measurement.
    frame : int
        Index of the frame: its group counts, and its attitude is kept.
    pixel : float
        The pixel's angle in that camera. [rad]

    Returns
    -------
    CameraAxis
    """
    group, solution = int(fit.groups[frame]), fit.solution
    members = fit.used & (fit.groups == group)
    stations = len(np.unique(fit.station[members]))
    means = group_means(
        solution.design, fit.groups, np.where(fit.used, solution.weights, 0.0), len(fit.camera_axes)
    )
    mean = means[group]
    if fit.is_guided:  # declination stands where the guider left it: this frame alone says where the axis is
        stations, mean = 1, polar_places(fit.attitudes, fit.axis).design[frame] * np.array([[1.0], [-1.0]])
    alone = np.diag(solution.variances[group]) * fit.attitudes.noise[frame] ** 2 / stations
    offset = fit.noise**2 * (alone + mean @ np.linalg.pinv(solution.information, hermitian=True) @ mean.T)
    axis = fit.camera_axes[group]
    # an offset of the camera about the two axes of the plane displaces the axis the other way
    carry = -np.cross(solution.planes[group].T, axis).T
    camera = int(fit.attitudes.camera[frame])
    return CameraAxis(
        template=fit.attitudes.templates[camera],
        weights=fit.attitudes.weights,
        axis=axis,
        covariance=carry @ offset @ carry.T,
        attitude=fit.attitudes.matrices[frame],
        noise_px=fit.noise * float(fit.attitudes.noise[frame]) / pixel,
        roll_ratio=fit.roll_ratio,
        degrees_of_freedom=fit.degrees_of_freedom,
    )


def carry_axis(known: CameraAxis, observed: Array, pixel: float) -> FollowedAxis:
    """Find the axis that new frames show, all of them one axis, at one right-ascension position or several.

    Unknown are the new axis, its place in the camera (known before with its covariance) and each frame's turn
    about the axis. Each frame says where its camera carries the known axis to; by generalised least squares the
    new axis and the axis in the camera follow together.

    Parameters
    ----------
    known : CameraAxis
        The axis in the camera.
    observed : ndarray, shape (n, k, 3)
        East-North-Up directions of the sensor points in `n` new frames.
    pixel : float
        The pixel's angle. [rad]

    Returns
    -------
    FollowedAxis
        Of one frame, the axis that it shows. Of several, their scatter and the noise before make the noise.
    """
    matrices = best_rotations(known.template, observed, known.weights)
    axis, inner = unit((matrices @ known.axis).mean(axis=0)), known.axis
    equations = _Equations.of(known, matrices, axis, inner, pixel)
    camera_moved = equations.camera_moved
    for _ in range(MOST_STEPS):
        shift, within = equations.solution
        axis = unit(axis + tangent_basis(axis) @ shift)
        inner = unit(inner + tangent_basis(inner) @ within)
        equations = _Equations.of(known, matrices, axis, inner, pixel)
        if max(np.abs(shift).max(), np.abs(within).max()) < SETTLED:
            break
    factor, freedom = _pooled(known, equations)
    covariance, own, camera = (factor * part for part in equations.covariances)
    basis = tangent_basis(inner)
    return FollowedAxis(
        axis=axis,
        covariance=covariance,
        own=own,
        attitudes=matrices,
        apart=angle_between(matrices @ inner, axis),
        apart_sigma=np.sqrt(np.trace(np.linalg.inv(equations.weights), axis1=1, axis2=2)),
        noise_factor=factor,
        shape_misfit=_shape_misfit(known, matrices, observed),
        relief=equations.relief,
        camera=replace(
            known,
            axis=inner,
            covariance=basis @ camera @ basis.T,
            attitude=matrices[-1],
            noise_px=known.noise_px * float(np.sqrt(factor)),
            degrees_of_freedom=freedom,
        ),
        camera_moved=camera_moved,
    )


def axes_alone(known: CameraAxis, observed: Array) -> tuple[Array, Array]:
    """Return the axis that each of some frames shows by itself, as `carry_axis` of that frame alone.

    Parameters
    ----------
    known : CameraAxis
        The axis in the camera.
    observed : ndarray, shape (n, k, 3)
        As for `carry_axis`.

    Returns
    -------
    axes : ndarray, shape (n, 3)
        East-North-Up unit vectors.
    shape_misfit : ndarray, shape (n,)
        How far the sensor points' shape is from the camera's. [rad]
    """
    matrices = best_rotations(known.template, observed, known.weights)
    return unit(matrices @ known.axis), _shape_misfit(known, matrices, observed)


def _shape_misfit(known: CameraAxis, matrices: Array, observed: Array) -> Array:
    modelled = np.einsum("nij,kj->nki", matrices, known.template)
    return np.asarray(np.sqrt(np.sum((modelled - observed) ** 2, axis=-1) @ known.weights))


def foretold_information(known: CameraAxis, axis: Array, turns: Array, pixel: float) -> tuple[Array, Array]:
    """Return what frames that are still to be taken would tell, with the noise as it is known now.

    Parameters
    ----------
    known : CameraAxis
        The axis in the camera, and the camera's last attitude.
    axis : ndarray, shape (3,)
        About which the mount turns, East-North-Up.
    turns : ndarray, shape (n,)
        From the last attitude to each frame, right-handed about the axis. [rad]
    pixel : float
        The pixel's angle. [rad]

    Returns
    -------
    before : ndarray, shape (4, 4)
        Information that there is without them. [rad^-2]
    each : ndarray, shape (n, 4, 4)
        What each frame adds. The first two rows and columns of the inverse of a sum are the axis' covariance, as
        `FollowedAxis.covariance` has it.
    """
    matrices = rotation_matrix(axis, turns) @ known.attitude
    equations = _Equations.of(known, matrices, axis, known.axis, pixel)
    before = np.zeros((4, 4))
    before[2:, 2:] = equations.prior
    return before, equations.each


@dataclass(frozen=True, slots=True)
class _Equations:
    """Linear equations of new frames: misfit = shift of the axis - design @ (shift of the axis in the camera).

    `misfit`, (n, 2), and `design`, (n, 2, 2), on the tangent planes; `weights`, (n, 2, 2), are the inverse of each
    frame's covariance; `before`, (2,), and `prior`, (2, 2), say what was known of the axis in the camera.
    """

    misfit: Array
    design: Array
    weights: Array
    before: Array
    prior: Array

    @classmethod
    def of(cls, known: CameraAxis, matrices: Array, axis: Array, inner: Array, pixel: float) -> _Equations:
        outside, inside = tangent_basis(axis), tangent_basis(inner)
        cross = _cross(inner)
        own = cross @ known.attitude_noise(pixel) @ cross.T
        turned = np.einsum("nji,jk->nik", matrices, outside)  # tangent directions as each camera sees them
        noise = np.einsum("nik,ij,njl->nkl", turned, own, turned) + _FLOOR**2 * np.eye(2)
        prior = inside.T @ known.covariance @ inside + _FLOOR**2 * np.eye(2)
        return cls(
            misfit=(matrices @ inner - axis) @ outside,
            design=np.einsum("nik,ij->nkj", turned, inside),
            weights=np.linalg.inv(noise),
            before=inside.T @ (known.axis - inner),
            prior=np.asarray(np.linalg.inv(prior), dtype=np.float64),
        )

    @property
    def both(self) -> Array:
        """The design of both shifts, shape (n, 2, 4)."""
        return np.concatenate([np.broadcast_to(np.eye(2), self.design.shape), -self.design], axis=-1)

    @property
    def each(self) -> Array:
        """What each frame tells of both shifts, shape (n, 4, 4): of the axis, of the axis in the camera. [rad^-2]"""
        both = self.both
        return np.asarray(np.einsum("nji,njk,nkl->nil", both, self.weights, both))

    @property
    def information(self) -> Array:
        """Of both shifts, with what was known before, shape (4, 4). [rad^-2]"""
        total = self.each.sum(axis=0)
        total[2:, 2:] += self.prior
        return np.asarray(total)

    @property
    def solution(self) -> tuple[Array, Array]:
        """Both shifts. [rad]"""
        weighed = np.einsum("nij,nj->ni", self.weights, self.misfit)
        inward = self.prior @ self.before - np.einsum("nji,nj->i", self.design, weighed)
        both = np.linalg.solve(self.information, np.concatenate([weighed.sum(axis=0), inward]))
        return both[:2], both[2:]

    @property
    def covariances(self) -> tuple[Array, Array, Array]:
        """Of the axis, the new frames' part of that, and of the axis in the camera. [rad^2]"""
        every: Array = np.asarray(np.linalg.inv(self.information), dtype=np.float64)
        handed_on: Array = every[:2, 2:] @ self.prior @ every[2:, :2]
        return every[:2, :2], every[:2, :2] - handed_on, every[2:, 2:]

    @property
    def camera_moved(self) -> float:
        """How far the axis in the camera is from where it was, by these frames alone, in sigmas.

        Their information on it is what is left once the new axis is free; where that is none, nothing is seen.
        """
        every = self.each.sum(axis=0)
        weighed = np.einsum("nij,nj->ni", self.weights, self.misfit)
        axis_alone, across = np.linalg.inv(every[:2, :2]), every[:2, 2:]
        own = every[2:, 2:] - across.T @ axis_alone @ across
        pull = -np.einsum("nji,nj->i", self.design, weighed) - across.T @ axis_alone @ weighed.sum(axis=0)
        before = np.linalg.inv(self.prior)
        both = own @ before @ own + own + _UNSEEN * np.trace(self.prior) * np.eye(2)
        return float(np.sqrt(max(pull @ np.linalg.solve(both, pull), 0.0)))

    @property
    def relief(self) -> Array:
        """By how much `chi_square` would fall without each frame, shape (n,), once solved; 0 of one or two.

        References
        ----------
        .. [1] R. D. Cook, S. Weisberg, Residuals and Influence in Regression (1982), section 2.2 (from memory; checked
           against leaving each out).
        """
        if len(self.misfit) < 3:  # one other frame agrees with itself
            return np.zeros(len(self.misfit))
        both = self.both
        known_by_itself = both @ np.linalg.inv(self.information) @ both.transpose(0, 2, 1)
        by_the_others = np.linalg.inv(np.linalg.inv(self.weights) - known_by_itself)
        return np.asarray(np.einsum("ni,nij,nj->n", self.misfit, by_the_others, self.misfit))

    @property
    def chi_square(self) -> float:
        """Of what is left over once solved."""
        frames = np.einsum("ni,nij,nj->", self.misfit, self.weights, self.misfit)
        return float(frames + self.before @ self.prior @ self.before)


def _pooled(known: CameraAxis, equations: _Equations) -> tuple[float, int]:
    """Variance of a frame over the known one, by the noise before and the new scatter, and what is behind it."""
    fresh = 2 * len(equations.misfit) - 2
    if fresh == 0:
        return 1.0, known.degrees_of_freedom
    before = known.degrees_of_freedom or PRIOR_DOF
    return (before + equations.chi_square) / (before + fresh), before + fresh


def _cross(v: Array) -> Array:
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])
