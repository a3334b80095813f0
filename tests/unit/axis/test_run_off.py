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


def found_of(fast: float, north: bool = True, seed: int = 1, used: np.ndarray | None = None) -> float:
    """What is found of a mount that is so fast, each frame with 5 arcsec of noise. [arcsec]"""
    axis = np.array([0.0, np.cos(0.7), np.sin(0.7)]) * [1.0, 1.0 if north else -1.0, 1.0]
    angle = SECONDS * SIDEREAL + fast * ARCSEC * SECONDS / SECONDS[-1]
    turns = Rotation.from_rotvec(np.outer(-angle if north else angle, axis))  # westward
    noise = Rotation.from_rotvec(np.random.default_rng(seed).normal(size=(40, 3)) * 5 * ARCSEC)
    matrices = (turns * noise * Rotation.from_euler("x", 0.4)).as_matrix()
    points = camera_directions(sensor_points(CAMERA), CAMERA)
    attitudes = camera_attitudes(
        np.einsum("nij,kj->nki", matrices, points),
        SENSOR_WEIGHTS,
        np.zeros(40, dtype=int),
        np.full(40, ARCSEC),
    )
    every = np.ones(40, dtype=bool) if used is None else used
    return run_off(attitudes, SECONDS, np.zeros(40, dtype=int), every, axis) / ARCSEC


@pytest.mark.parametrize("north", [True, False])
@pytest.mark.parametrize("fast", [0.0, 200.0, -700.0])
def test_a_drive_off_the_rate(north: bool, fast: float) -> None:
    assert found_of(fast, north) == pytest.approx(abs(fast), abs=20.0)
    # half the time without the other half's frames: half the way
    half = found_of(fast, north, used=SECONDS[20] >= SECONDS)
    assert half == pytest.approx(abs(fast) * 20 / 39, abs=25.0)


def test_noise_is_no_run_off_in_nineteen_cases_of_twenty_and_three_sigmas_are_one_in_most() -> None:
    """A slope's standard error over the whole time is noise times the root of 12 / n; Gauss: 5 % of noise beyond two of
    them, 16 % within two where the truth is three. Of 30 draws 1.5 and 25; allowed are three standard deviations more.
    """
    three_sigmas = 3 * 5.0 * np.sqrt(12 / 40)
    seeds = range(30)
    assert sum(found_of(0.0, seed=seed) > 0 for seed in seeds) <= 5
    assert sum(found_of(three_sigmas, seed=seed) > 0 for seed in seeds) >= 19


@pytest.mark.parametrize(("count", "shown"), [(0, False), (1, False), (2, False), (3, True)])
def test_two_frames_show_no_rate_beyond_noise(count: int, shown: bool) -> None:
    """A start and a rate pass through them; a third one contradicts."""
    used = np.arange(40) % 19 == 0
    used[np.flatnonzero(used)[count:]] = False
    assert (found_of(20_000.0, used=used) > 0) is shown
