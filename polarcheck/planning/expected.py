"""What frames that are not yet taken would say about the axis, through the same least squares as `measure`."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.alignment import FLEXURE_ARCSEC, Systematic
from polarcheck.axis import camera_attitudes, fit_axis, flexure_region, pointing_at, solve_axis
from polarcheck.constants import ARCMIN, ARCSEC, FRAME_NOISE_PX
from polarcheck.errors import Notice
from polarcheck.frames import SENSOR_WEIGHTS, node_pixels
from polarcheck.rig import Rig
from polarcheck.vectors import Array, unit

__all__ = [
    "ASSUMED_CAMERA",
    "DEMO_CAMERA",
    "ExpectedSigma",
    "PlanCamera",
    "camera_of",
    "expected_sigma",
    "sigma_of",
    "with_sag",
]


@dataclass(frozen=True, slots=True)
class PlanCamera:
    """The camera that is to take the frames.

    Attributes
    ----------
    width_px, height_px : int
        [px]
    scale_arcsec : float
        At the centre. [arcsec/px]
    noise_px : float
        Pointing noise of a frame, per coordinate. [px]
    flexure_arcsec : float
        Sag and creep that are allowed for, as `measure` does. [arcsec]
    assumed : bool
        Whether nobody stated sensor and scale.
    """

    width_px: int
    height_px: int
    scale_arcsec: float
    noise_px: float = FRAME_NOISE_PX
    flexure_arcsec: float = FLEXURE_ARCSEC
    assumed: bool = False

    @property
    def noise(self) -> float:
        """Pointing noise of a frame, per coordinate. [rad]"""
        return self.noise_px * self.scale_arcsec * ARCSEC

    @property
    def points(self) -> Array:
        """Directions of the sensor points in the camera, shape (16, 3); the third axis is the boresight."""
        pixels = node_pixels(self.width_px, self.height_px)
        centre = (np.array([self.width_px, self.height_px]) - 1) / 2
        flat = (pixels - centre) * self.scale_arcsec * ARCSEC
        return unit(np.column_stack([flat, np.ones(len(flat))]))

    @property
    def roll_moment(self) -> float:
        """Mean squared sine of the stars' distance from the boresight."""
        return float((1 - self.points[:, 2] ** 2) @ SENSOR_WEIGHTS)


DEMO_CAMERA = PlanCamera(1200, 900, 206.265 * 6.0 / 250.0, assumed=True)
"""That of the demo rig, where nobody says anything: 4.95 arcsec/px, 1.65 x 1.24 deg."""


def camera_of(rig: Rig | None, noise_px: float = FRAME_NOISE_PX) -> PlanCamera:
    """Return the camera of a rig file; that of the demo rig, said to be assumed, where it is not stated whole."""
    told = rig.mount.flexure_arcsec if rig else None
    flexure = FLEXURE_ARCSEC if told is None else told
    scale = rig.pixel_scale_arcsec if rig else None
    if rig is None or scale is None or rig.camera.width_px is None or rig.camera.height_px is None:
        return replace(DEMO_CAMERA, noise_px=noise_px, flexure_arcsec=flexure)
    return PlanCamera(rig.camera.width_px, rig.camera.height_px, scale, noise_px, flexure)


ASSUMED_CAMERA = Notice(
    "assumed-camera",
    "Focal length, pixel size and sensor are not stated: the expected sigma is that of the demo rig (250 mm, 4.95 "
    "arcsec/px, 1200 x 900 px) and goes with the scale. The positions hardly depend on it.",
    ("rig",),
)
"""Said with every plan for a camera that nobody stated."""


@dataclass(frozen=True, slots=True)
class ExpectedSigma:
    """How well frames would tell the axis, one sigma of its error.

    Attributes
    ----------
    azimuth_arcmin : float
        About the vertical. [arcmin]
    altitude_arcmin : float
        [arcmin]
    total_arcmin : float
        Root mean square of the error on the sky. [arcmin]
    correlation : float
        Between azimuth and altitude.
    sag_azimuth_arcmin, sag_altitude_arcmin, sag_total_arcmin : float or None
        By how much, in azimuth, in altitude and at most on the sky, sag and creep of the allowed size may shift the
        answer besides, as `measure` states it; a bound, no sigma. None where it was not asked for. [arcmin]
    """

    azimuth_arcmin: float
    altitude_arcmin: float
    total_arcmin: float
    correlation: float
    sag_azimuth_arcmin: float | None = None
    sag_altitude_arcmin: float | None = None
    sag_total_arcmin: float | None = None

    @property
    def with_allowance_arcmin(self) -> float:
        """Sigma on the sky and what sag may do, as a root of squares. [arcmin]"""
        return float(np.hypot(self.total_arcmin, self.sag_total_arcmin or 0.0))


def expected_sigma(
    axis: Array, distance: float, angles: Array, north: bool, camera: PlanCamera
) -> ExpectedSigma:
    """Return how well a sweep would tell the axis.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        The elevated end.
    distance : float
        Of the boresight from the axis. [rad]
    angles : ndarray, shape (n,)
        Axis angles of the frames. [rad]
    north : bool
        Whether the axis points at the north celestial pole.
    camera : PlanCamera

    Returns
    -------
    ExpectedSigma
        For noise as assumed; `measure` states a larger one for few frames, since it does not know the noise.
    """
    observed = _observed(axis, distance, angles, north, camera)
    count = len(angles)
    attitudes = camera_attitudes(
        observed, SENSOR_WEIGHTS, np.zeros(count, dtype=int), np.full(count, camera.noise)
    )
    one = np.zeros(count, dtype=int)
    information = solve_axis(attitudes, one, np.ones(count, dtype=bool), axis).information
    return sigma_of(np.asarray(np.linalg.pinv(information, hermitian=True), dtype=float), axis)


def with_sag(
    expected: ExpectedSigma, axis: Array, distance: float, angles: Array, north: bool, camera: PlanCamera
) -> ExpectedSigma:
    """Return the same with what sag and creep may do to a sweep whose frames follow each other evenly in time."""
    observed = _observed(axis, distance, angles, north, camera)
    fit = fit_axis(observed, SENSOR_WEIGHTS, np.full(len(angles), camera.noise), axis)
    region = flexure_region(fit, camera.flexure_arcsec * ARCSEC, np.arange(float(len(angles))))
    azimuth, altitude = Systematic(camera.flexure_arcsec, "assumed", region).half_widths_arcmin(axis)
    largest = float(np.sqrt(np.linalg.eigvalsh(region)[-1])) / ARCMIN
    return replace(
        expected, sag_azimuth_arcmin=azimuth, sag_altitude_arcmin=altitude, sag_total_arcmin=largest
    )


def _observed(axis: Array, distance: float, angles: Array, north: bool, camera: PlanCamera) -> Array:
    """Sensor points, shape (n, 16, 3), of frames whose y axis lies towards the mount's axis."""
    looks = pointing_at(axis, distance, angles, north)
    up = unit(axis - (looks @ axis)[:, None] * looks)
    return np.asarray(camera.points @ np.stack([np.cross(up, looks), up, looks], axis=1))


def sigma_of(covariance: Array, axis: Array) -> ExpectedSigma:
    """Return the sigmas of a covariance on the axis' tangent plane, shape (2, 2). [rad^2]"""
    across, up = np.sqrt(np.diag(covariance))
    level = max(float(np.hypot(axis[0], axis[1])), 1e-12)
    return ExpectedSigma(
        azimuth_arcmin=float(across) / level / ARCMIN,
        altitude_arcmin=float(up) / ARCMIN,
        total_arcmin=float(np.sqrt(np.trace(covariance))) / ARCMIN,
        correlation=float(covariance[0, 1] / (across * up)),
    )
