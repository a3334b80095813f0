"""A rigid mount turned with scipy's rotations: directions for the tests of the fit, free of the package."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

from tests.helpers import ARCSEC, DEG, enu

Array = npt.NDArray[np.float64]

WIDTH_DEG, HEIGHT_DEG = 1.65, 1.24
PIXEL_ARCSEC = 4.95

_LINE = np.sqrt(0.6) * np.array([-1.0, 0.0, 1.0])  # Gauss-Legendre nodes of order 3
_SHARE = np.array([5.0, 8.0, 5.0]) / 18
WEIGHTS: Array = np.outer(_SHARE, _SHARE).ravel()
NOISE = 0.2 * PIXEL_ARCSEC * ARCSEC
"""Pointing noise of a frame. [rad]"""
ROLL_NOISE = 0.2 / np.hypot(WIDTH_DEG * 3600, HEIGHT_DEG * 3600) * PIXEL_ARCSEC * np.sqrt(12)
"""Roll noise of stars that give the pointing so well. [rad]"""

AXIS = enu(0.4 * DEG, 47.1 * DEG)
POLE = enu(0.0, 47.3 * DEG)


def sensor(width_deg: float = WIDTH_DEG, height_deg: float = HEIGHT_DEG) -> Array:
    """Directions (9, 3) of a sensor's points in a gnomonic camera that looks along z."""
    y, x = np.meshgrid(_LINE * height_deg / 2 * DEG, _LINE * width_deg / 2 * DEG, indexing="ij")
    points = np.stack([x.ravel(), y.ravel(), np.ones(9)], axis=-1)
    return np.asarray(points / np.linalg.norm(points, axis=-1, keepdims=True))


def camera_at(axis: Array, distance_deg: float, roll_deg: float = 20.0) -> Rotation:
    """A camera that looks past the axis, `distance_deg` from it towards the zenith's side."""
    upward = np.array([0.0, 0.0, 1.0]) - axis[2] * axis
    upward /= np.linalg.norm(upward)
    look = np.cos(distance_deg * DEG) * axis + np.sin(distance_deg * DEG) * upward
    x = np.cross(upward, axis)
    level = Rotation.from_matrix(np.stack([x, np.cross(look, x), look], axis=-1))
    return level * Rotation.from_rotvec([0.0, 0.0, roll_deg * DEG])


def turned(axis: Array, angles_deg: npt.ArrayLike, camera: Rotation) -> Rotation:
    """Attitudes after right-handed turns about the axis."""
    return Rotation.from_rotvec(np.multiply.outer(np.asarray(angles_deg, dtype=float) * DEG, axis)) * camera


def seen_by(attitudes: Rotation, points: Array | None = None) -> Array:
    """Where the sensor's points look, (n, 9, 3)."""
    bundle = sensor() if points is None else points
    return np.einsum("nij,kj->nki", attitudes.as_matrix(), bundle)


def noisy(attitudes: Rotation, seed: int | Any = 0, scale: float = 1.0, roll_scale: float = 1.0) -> Rotation:
    """Attitudes with the noise of stars spread evenly over the sensor."""
    rng = np.random.default_rng(seed)
    sizes = [NOISE * scale, NOISE * scale, ROLL_NOISE * scale * roll_scale]
    return attitudes * Rotation.from_rotvec(rng.normal(size=(len(attitudes), 3)) * sizes)


def shifted(attitudes: Rotation, frame: int, angle_arcsec: float, towards_deg: float) -> Rotation:
    """One frame looking elsewhere, by an angle across its boresight."""
    turn = np.array([np.cos(towards_deg * DEG), np.sin(towards_deg * DEG), 0.0]) * angle_arcsec * ARCSEC
    return amended(attitudes, frame, Rotation.from_rotvec(turn))


def amended(attitudes: Rotation, frame: int, by: Rotation) -> Rotation:
    """One frame's attitude turned in its own camera."""
    matrices = attitudes.as_matrix()
    matrices[frame] = matrices[frame] @ by.as_matrix()
    return Rotation.from_matrix(matrices)
