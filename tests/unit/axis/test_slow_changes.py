"""A declination that moves at every position, and a tripod that sinks, on a rigid mount whose axis is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.stats import f as f_distribution

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.fit import AxisFit, fit_axis
from polarcheck.axis.least_squares import solve_axis
from polarcheck.axis.slow_changes import bent_of, fit_sweep, scatter_beside_a_bend
from polarcheck.measurement.measurement import measure_frames
from polarcheck.site import Site
from polarcheck.vectors import angle_between
from tests.benchmarks.mounts import Scene, Sweep, frames_of
from tests.helpers import ARCSEC
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, Array, camera_at, noisy, seen_by, turned

CAMERA = camera_at(AXIS, 40.0)


def fitted(rotations: Rotation) -> AxisFit:
    n = len(rotations)

    def fit(observed: Array) -> AxisFit:
        return fit_axis(observed, WEIGHTS, np.full(n, NOISE), POLE)

    return fit_sweep(seen_by(rotations), 60.0 * np.arange(n), fit)[0]


def moved(rotations: Rotation, angles: Array) -> Rotation:
    """Each boresight moved towards the axis by an angle: about the declination axis."""
    about = np.cross(rotations.apply([0.0, 0.0, 1.0]), AXIS)
    about /= np.linalg.norm(about, axis=-1, keepdims=True)
    return Rotation.from_rotvec(about * angles[:, None]) * rotations


def test_a_declination_that_moved_at_every_position_leaves_the_rotations() -> None:
    steps = np.array([0, 18, 42, 51, 75, 90]) * 60 * ARCSEC
    found = fitted(noisy(moved(turned(AXIS, np.linspace(-40, 40, 6), CAMERA), steps), 1))
    assert found.slow_change == "declination"
    off = angle_between(found.axis, AXIS)
    assert off < 4 * np.sqrt(np.linalg.eigvalsh(found.covariance)[-1])
    assert off < 8 * 60 * ARCSEC


@pytest.mark.parametrize(("sink_arcmin", "told"), [(0.0, False), (15.0, True)])
def test_a_tripod_that_sinks_is_told_where_the_residuals_bend(sink_arcmin: float, told: bool) -> None:
    side = np.cross(AXIS, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    sunk = np.linspace(0, sink_arcmin * 60 * ARCSEC, 24)[:, None] * side
    rotations = Rotation.from_rotvec(sunk) * turned(AXIS, np.linspace(-40, 40, 24), CAMERA)
    found = fitted(noisy(rotations, 2, scale=0.3))
    assert (found.slow_change == "bend") == told
    if (
        told
    ):  # sigma grows to most of what the axis is off and no more: minutes are thought possible, degrees not
        off = angle_between(found.axis, Rotation.from_rotvec(sunk[-1]).apply(AXIS))
        assert 0.8 * off < np.sqrt(np.linalg.eigvalsh(found.covariance)[-1]) < off


@pytest.mark.parametrize("seed", [6, 7, 11])
def test_two_wrong_frames_of_six_are_no_declination_that_moved(seed: int) -> None:
    """One solved 0.4 deg off, one 40 arcsec: the other four give the axis to their noise, not the rotations of all six."""
    site = Site(-31.4, 20.6, 1200.0)
    angles = tuple(np.linspace(-30, 40, 6))
    scene = Scene([Sweep(angles, -50.0)], site, (-31.2, 17.6), wrong=[(5, 1440.0), (0, 40.0)])
    result = measure_frames(frames_of(scene, np.random.default_rng(seed)))
    assert "declination-moved" not in {notice.code for notice in result.notices}
    # five times the bound of the four good frames, 0.18 and 0.21 arcmin (tests/benchmarks/cramer_rao)
    assert np.degrees(np.arccos(np.clip(result.axis @ scene.axis, -1, 1))) * 60 < 5 * np.hypot(0.18, 0.21)


@dataclass(frozen=True)
class AxisFitLike:
    """Of a fit what a bend asks for."""

    used: np.ndarray
    degrees_of_freedom: int = 4
    noise: float = 1.0
    covariance: Any = None
    tracked: Any = None
    turns: Any = None
    attitudes: Any = None
    axis: Any = None
    roll_ratio: float = 1.0
    slow_change: str | None = None
    group_sizes: tuple[int, ...] = (4,)

    def __post_init__(self) -> None:
        if self.covariance is None:
            object.__setattr__(self, "covariance", np.eye(2) * 1e-12)


def sunk(count: int, arcmin: float) -> Attitudes:
    """A tripod that sinks evenly by so much over a sweep without noise."""
    side = np.cross(AXIS, [0.0, 0.0, 1.0])
    by = np.linspace(0, arcmin * 60 * ARCSEC, count)[:, None] * side / np.linalg.norm(side)
    rotations = Rotation.from_rotvec(by) * turned(AXIS, np.linspace(-40, 40, count), CAMERA)
    return camera_attitudes(seen_by(rotations), WEIGHTS, np.zeros(count, dtype=int), np.full(count, NOISE))


def bend_told(attitudes: Attitudes) -> bool:
    count = len(attitudes.matrices)
    fit: Any = AxisFitLike(np.ones(count, dtype=bool), attitudes=attitudes, axis=POLE)
    return bent_of(fit, 60.0 * np.arange(count))[0].slow_change == "bend"


@pytest.mark.parametrize(("count", "told"), [(4, False), (5, True)])
def test_five_frames_show_a_bend(count: int, told: bool) -> None:
    """Four have one residual more than what is solved for."""
    assert bend_told(sunk(count, 10.0)) is told


@pytest.mark.parametrize(("chance", "told"), [(0.8e-4, True), (1.2e-4, False)])
def test_a_bend_is_told_where_noise_makes_it_once_in_ten_thousand_sweeps(chance: float, told: bool) -> None:
    """Three numbers explain all misfits; the assumed noise counts for six degrees of freedom: Fisher's F (scipy.stats)."""
    count, groups, every = 12, np.zeros(12, dtype=int), np.ones(12, dtype=bool)
    freedom = 6 + 2 * count - 2 - 2 - 3
    wanted = 3 * f_distribution.isf(chance, 3, freedom) * 6 / freedom
    chi_square = solve_axis(sunk(count, 1.0), groups, every, POLE).chi_square
    assert bend_told(sunk(count, float(np.sqrt(wanted / chi_square)))) is told


def test_what_scatters_by_three_times_the_noise_beside_a_bend_is_something_else() -> None:
    """Bad seeing doubles it; a frame that is solved wrongly does four times as much (common practice, no source)."""
    assert 2.0 < scatter_beside_a_bend(1.0, is_whole=True) < 4.0
    assert (
        scatter_beside_a_bend(1.4, is_whole=False) == 1.4
    )  # fewer frames in use: a bend must hold all of them as well
    assert scatter_beside_a_bend(0.3, is_whole=False) == 1.0
