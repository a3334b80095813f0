"""How far a mount ran off the sky's rate, against turns made by SciPy's rotations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.attitudes import camera_attitudes
from polarcheck.axis.run_off import run_off
from polarcheck.frames import SENSOR_WEIGHTS
from polarcheck.simulate import camera_directions, sensor_points
from tests.benchmarks.mounts import CAMERA
from tests.helpers import ARCSEC

SIDEREAL = 2 * np.pi / 86164.0905  # [rad/s] the Earth's turn: Astronomical Almanac, sidereal day
SECONDS = np.arange(40) * 180.0


@pytest.mark.parametrize("north", [True, False])
@pytest.mark.parametrize("fast", [0.0, 200.0, -700.0])
def test_a_drive_off_the_rate(north: bool, fast: float) -> None:
    axis = np.array([0.0, np.cos(0.7), np.sin(0.7)]) * [1.0, 1.0 if north else -1.0, 1.0]
    angle = SECONDS * SIDEREAL + fast * ARCSEC * SECONDS / SECONDS[-1]
    turns = Rotation.from_rotvec(np.outer(-angle if north else angle, axis))  # westward
    noise = Rotation.from_rotvec(np.random.default_rng(1).normal(size=(40, 3)) * 5 * ARCSEC)
    matrices = (turns * noise * Rotation.from_euler("x", 0.4)).as_matrix()
    points = camera_directions(sensor_points(CAMERA), CAMERA)
    attitudes = camera_attitudes(
        np.einsum("nij,kj->nki", matrices, points),
        SENSOR_WEIGHTS,
        np.zeros(40, dtype=int),
        np.full(40, ARCSEC),
    )
    every = np.ones(40, dtype=bool)
    found = run_off(attitudes, SECONDS, np.zeros(40, dtype=int), every, axis) / ARCSEC
    assert found == pytest.approx(abs(fast), abs=20.0)
    # half the time without the other half's frames: half the way
    half = run_off(attitudes, SECONDS, np.zeros(40, dtype=int), SECONDS[20] >= SECONDS, axis) / ARCSEC
    assert half == pytest.approx(abs(fast) * 20 / 39, abs=25.0)
