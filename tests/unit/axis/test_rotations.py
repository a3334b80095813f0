"""The axis by rotations alone, on a rigid mount whose declination was moved."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.attitudes import camera_attitudes
from polarcheck.axis.least_squares import solve_axis
from polarcheck.axis.rotations import axis_by_rotation
from polarcheck.vectors import angle_between
from tests.helpers import ARCSEC, DEG
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, Array, camera_at, noisy, seen_by, turned

CAMERA = camera_at(AXIS, 40.0)


def moved(rotations: Rotation, angles: Array) -> Rotation:
    """Each boresight moved towards the axis by an angle: about the declination axis."""
    about = np.cross(rotations.apply([0.0, 0.0, 1.0]), AXIS)
    about /= np.linalg.norm(about, axis=-1, keepdims=True)
    return Rotation.from_rotvec(about * angles[:, None]) * rotations


def test_rotations_alone_give_the_axis_whatever_the_declination_does() -> None:
    rotations = moved(turned(AXIS, np.linspace(-40, 40, 5), CAMERA), np.array([0, 3, -2, 5, 1]) * DEG)
    one_camera = np.zeros(5, dtype=int)
    attitudes = camera_attitudes(seen_by(rotations), WEIGHTS, one_camera, np.full(5, NOISE))
    found = axis_by_rotation(attitudes, POLE, 1.0)
    assert angle_between(found.axis, AXIS) < 0.01 * ARCSEC
    assert found.chi_square < 1e-6


@pytest.mark.parametrize("off_deg", [5.0, 20.0, 40.0])
def test_a_first_guess_far_off_comes_to_the_same_axis(off_deg: float) -> None:
    """To a hundredth of a milliarcsecond and a milliarcsecond, for frames that scatter by twenty times the noise.

    Twice the 20 deg within which an axis counts as polar: farther no first guess is.
    """
    rotations = noisy(turned(AXIS, np.linspace(-40, 40, 8), CAMERA), 1, 20.0)
    one_camera, used = np.zeros(8, dtype=int), np.ones(8, dtype=bool)
    attitudes = camera_attitudes(seen_by(rotations), WEIGHTS, one_camera, np.full(8, NOISE))
    across = np.cross(AXIS, [0.0, 0.0, 1.0])
    away = Rotation.from_rotvec(off_deg * DEG * across / np.linalg.norm(across)).apply(AXIS)
    near, far = (solve_axis(attitudes, one_camera, used, start).axis for start in (AXIS, away))
    assert angle_between(near, far) < 1e-5 * ARCSEC
    near, far = (axis_by_rotation(attitudes, start, 1.0).axis for start in (AXIS, away))
    assert angle_between(near, far) < 1e-3 * ARCSEC
