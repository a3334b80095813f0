"""The mount's axis as a direction fixed in the camera, and what one further frame makes of it.

While right ascension turns or slips, and while the knobs tilt and swing the whole mount, the axis keeps its
place in the camera as long as declination and camera stay clamped. So one new frame, which gives the camera's
attitude, gives the new axis: exact for any tilt of the base and any slip in right ascension.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.axis.fit import AxisFit
from polarcheck.axis.groups import group_means
from polarcheck.vectors import Array, angle_between, best_rotations, tangent_basis, unit

__all__ = ["CameraAxis", "FollowedAxis", "camera_axis", "carry_axis"]


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

    def seen_at(self, attitude: Array) -> CameraAxis:
        """Return the same with the camera's attitude in a later frame."""
        return replace(self, attitude=attitude)

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
        How far each frame's own axis is from their mean. [rad]
    apart_sigma : ndarray, shape (n,)
        The noise that is expected of it. [rad]
    shape_misfit : ndarray, shape (n,)
        How far the sensor points' shape is from the camera's. [rad]
    """

    axis: Array
    covariance: Array
    own: Array
    attitudes: Array
    apart: Array
    apart_sigma: Array
    shape_misfit: Array

    def widened(self) -> FollowedAxis:
        """Return the same with as much noise of the new frames as their scatter shows; two frames at least."""
        scatter = float(np.sum((self.apart / self.apart_sigma) ** 2)) / (len(self.apart) - 1)
        return replace(self, covariance=self.covariance + max(scatter - 1, 0.0) * self.own)


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
    """Find the axis that new frames show, all of them one axis.

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
    """
    matrices = best_rotations(known.template, observed, known.weights)
    each = matrices @ known.axis
    axis = unit(each.mean(axis=0))
    cross = _cross(known.axis)
    own = cross @ known.attitude_noise(pixel) @ cross.T
    count = len(each)
    basis = tangent_basis(axis)
    turned = np.einsum("nji,jk->nik", matrices, basis)  # tangent directions as each camera sees them
    common = np.mean(turned, axis=0)
    noise_share = np.einsum("nik,ij,njl->kl", turned, own, turned) / count**2
    covariance = common.T @ known.covariance @ common + noise_share
    noise = np.sqrt(np.einsum("nik,ij,njk->n", turned, own, turned))
    modelled = np.einsum("nij,kj->nki", matrices, known.template)
    misfit = np.sqrt(np.sum((modelled - observed) ** 2, axis=-1) @ known.weights)
    return FollowedAxis(axis, covariance, noise_share, matrices, angle_between(each, axis), noise, misfit)


def _cross(v: Array) -> Array:
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])
