"""The geometry of a rigid mount with a camera: pure, for tests and benchmarks too."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import InputError
from polarcheck.frames import node_pixels
from polarcheck.sky import Pole
from polarcheck.vectors import (
    Array,
    angle_between,
    azalt_from_direction,
    direction_from_azalt,
    rotation_matrix,
    tangent_basis,
    unit,
)

__all__ = [
    "Camera",
    "camera_directions",
    "camera_pixels",
    "error_of_axis",
    "mount_attitudes",
    "mount_axis",
    "noisy_attitudes",
    "sensor_points",
]


@dataclass(frozen=True, slots=True)
class Camera:
    """A camera on the mount; by default that of the demo rig, 250 mm with pixels of 6 micrometres.

    Attributes
    ----------
    width_px, height_px : int
        Size of the image. [px]
    pixel_scale_arcsec : float
        At the centre. [arcsec/px]
    camera_angle_deg : float
        Position angle of the sensor's +y axis in the mount's own frame, north through east. [deg]
    mirrored : bool
        Whether an odd number of mirrors turns the image over.

    Raises
    ------
    InputError
        A sensor or a scale that no camera has.
    """

    width_px: int = 1200
    height_px: int = 900
    pixel_scale_arcsec: float = 206.265 * 6.0 / 250.0
    camera_angle_deg: float = 20.0
    mirrored: bool = False

    def __post_init__(self) -> None:
        if not (2 <= self.width_px <= 100_000 and 2 <= self.height_px <= 100_000):
            raise InputError(f"a sensor of {self.width_px} x {self.height_px} px is not possible")
        diagonal_deg = np.hypot(self.width_px, self.height_px) * self.pixel_scale_arcsec / 3600
        if not (self.pixel_scale_arcsec > 0 and diagonal_deg < 90):
            raise InputError(
                f"{self.pixel_scale_arcsec:g} arcsec/px on {self.width_px} x {self.height_px} px is not "
                "possible: the scale must be positive and the field below 90 deg"
            )

    @property
    def centre_px(self) -> tuple[float, float]:
        """0-based pixel coordinates of the middle of the sensor. [px]"""
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2


def camera_directions(pixels: Array, camera: Camera) -> Array:
    """Return where pixels look, in the camera.

    Parameters
    ----------
    pixels : ndarray, shape (..., 2)
        0-based pixel coordinates (x, y). [px]
    camera : Camera
        A gnomonic camera without distortion.

    Returns
    -------
    ndarray, shape (..., 3)
        Unit vectors. The third axis is the boresight, the second the sensor's +y, and the first completes
        a right-handed frame: it is the sensor's -x, or its +x if the camera is mirrored.
    """
    scale = camera.pixel_scale_arcsec * ARCSEC
    flat = (np.asarray(pixels, dtype=float) - camera.centre_px) * scale * _parity(camera)
    return unit(np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1))


def camera_pixels(directions: Array, camera: Camera) -> Array:
    """Return the 0-based pixels, shape (..., 2), that camera directions fall on; see `camera_directions`.

    Directions behind the camera come out as NaN.
    """
    ahead = np.where(directions[..., 2:] > 0, directions[..., 2:], np.nan)
    flat = directions[..., :2] / ahead / (camera.pixel_scale_arcsec * ARCSEC)
    return np.asarray(flat * _parity(camera) + camera.centre_px)


def sensor_points(camera: Camera) -> Array:
    """Return the 0-based pixels, shape (16, 2), at which a frame's sky is sampled."""
    return node_pixels(camera.width_px, camera.height_px)


def mount_axis(error_arcmin: tuple[float, float], pole: Pole) -> Array:
    """Return the axis with a given error as an East-North-Up unit vector, shape (3,).

    Parameters
    ----------
    error_arcmin : tuple of float
        Azimuth error (an angle about the vertical) and altitude error, axis minus pole. [arcmin]
    pole : Pole
        The pole they refer to.

    Raises
    ------
    InputError
        The axis would lie far below the horizon or past the zenith.
    """
    azimuth_deg = pole.azimuth_deg + error_arcmin[0] / 60
    altitude_deg = pole.altitude_deg + error_arcmin[1] / 60
    if not (-20 < altitude_deg <= 90 and abs(error_arcmin[0]) <= 180 * 60):
        raise InputError(
            f"an error of {error_arcmin[0]:g}, {error_arcmin[1]:g} arcmin is not possible here: "
            f"the axis would be at azimuth {azimuth_deg:.2f} deg, altitude {altitude_deg:.2f} deg"
        )
    return direction_from_azalt(azimuth_deg * DEGREE, altitude_deg * DEGREE)


def mount_attitudes(
    axis: Array, is_north: bool, axis_angles: Array, declination: float, camera_angle: float
) -> Array:
    """Return the attitudes of a rigid mount turned about its axis.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        East-North-Up, towards the visible pole.
    is_north : bool
        Which pole that is.
    axis_angles : ndarray, shape (n,)
        Zero where the boresight is on the upper meridian as seen from the axis, growing westward like
        hour angle in both hemispheres: near +90 deg the telescope looks west, in the south as well. [rad]
    declination : float
        Of the boresight in the mount's own frame. [rad]
    camera_angle : float
        Position angle of the camera's second axis in the mount's frame, north through east. [rad]

    Returns
    -------
    ndarray, shape (n, 3, 3)
        Rotations that carry camera vectors (see `camera_directions`) to East-North-Up.
    """
    hemisphere = 1.0 if is_north else -1.0
    upward = tangent_basis(axis)[:, 1]
    from_axis = np.pi / 2 - hemisphere * declination
    boresight = np.cos(from_axis) * axis + np.sin(from_axis) * upward
    # towards growing declination; in this form it stays defined with the boresight on the axis
    north = hemisphere * (np.sin(from_axis) * axis - np.cos(from_axis) * upward)
    second = np.cos(camera_angle) * north + np.sin(camera_angle) * np.cross(north, boresight)
    camera = np.stack([np.cross(second, boresight), second, boresight], axis=-1)
    # westward is left-handed about an axis towards the northern pole, right-handed about the southern one
    return np.asarray(rotation_matrix(axis, -hemisphere * np.asarray(axis_angles)) @ camera)


def noisy_attitudes(attitudes: Array, camera: Camera, noise_px: float, rng: np.random.Generator) -> Array:
    """Turn each attitude, shape (n, 3, 3), as independent noise of the star positions would.

    Stars spread evenly over the sensor that give the pointing to `noise_px` per coordinate give the roll
    to `noise_px` over their root-mean-square distance from the centre, sqrt((width^2 + height^2) / 12).
    """
    pointing = noise_px * camera.pixel_scale_arcsec * ARCSEC
    roll = noise_px / np.sqrt((camera.width_px**2 + camera.height_px**2) / 12)
    turns = rng.normal(size=(len(attitudes), 3)) * [pointing, pointing, roll]
    angles = np.linalg.norm(turns, axis=-1)
    axes = turns / np.where(angles > 0, angles, 1.0)[:, None]
    return np.asarray(attitudes @ rotation_matrix(axes, angles))


def error_of_axis(axis: Array, pole: Pole) -> dict[str, float]:
    """Return the error of an axis, shape (3,), in arcminutes under the names that results use."""
    azimuth, altitude = azalt_from_direction(axis)
    azimuth_error_deg = (float(azimuth) / DEGREE - pole.azimuth_deg + 180) % 360 - 180
    return {
        "azimuth_arcmin": azimuth_error_deg * 60,
        "altitude_arcmin": (float(altitude) / DEGREE - pole.altitude_deg) * 60,
        "azimuth_on_sky_arcmin": azimuth_error_deg * 60 * float(np.cos(altitude)),
        "total_arcmin": float(angle_between(axis, pole.direction)) / ARCMIN,
    }


def _parity(camera: Camera) -> Array:
    return np.array([1.0 if camera.mirrored else -1.0, 1.0])
