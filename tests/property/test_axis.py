"""What holds for every mount: the axis is found, and moves as the frames do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from polarcheck.alignment.error import AxisError, axis_error
from polarcheck.axis.fit import AxisFit, fit_axis
from polarcheck.sky.observed import Pole
from tests.helpers import DEG, enu, separation_arcsec
from tests.rigid_mount import NOISE, WEIGHTS, Array, camera_at, noisy, seen_by, sensor, turned

few = settings(max_examples=25)
FLIP_EAST = np.diag([-1.0, 1.0, 1.0])  # mirrors east and west
FLIP_NORTH = np.diag([1.0, -1.0, 1.0])  # mirrors north and south

altitudes = st.floats(3.0, 87.0)
offsets = st.floats(-3.0, 3.0)
distances = st.one_of(st.just(0.0), st.floats(0.5, 120.0))
rolls = st.floats(0.0, 360.0)
arcs = st.lists(st.integers(-80, 80), min_size=2, max_size=9, unique=True).filter(
    lambda angles: max(angles) - min(angles) >= 15
)
seeds = st.integers(0, 10_000)


def pole_at(altitude_deg: float) -> Pole:
    return Pole("true", 0.0, altitude_deg)


def fitted(observed: Array, pole: Pole) -> AxisFit:
    return fit_axis(observed, WEIGHTS, np.full(len(observed), NOISE), pole.direction)


def error_of(observed: Array, pole: Pole) -> AxisError:
    found = fitted(observed, pole)
    return axis_error(found.axis, found.covariance, found.degrees_of_freedom, pole)


@few
@given(altitudes, offsets, offsets, distances, rolls, arcs, st.booleans())
def test_noise_free_frames_give_the_axis(
    altitude: float, east: float, up: float, distance: float, roll: float, angles: list[int], mirrored: bool
) -> None:
    # 1e-5": floating point, over an arc of 15 deg or more
    axis = enu(east * DEG, (altitude + up) * DEG)
    points = sensor() * ([-1.0, 1.0, 1.0] if mirrored else [1.0, 1.0, 1.0])
    found = fitted(seen_by(turned(axis, angles, camera_at(axis, distance, roll)), points), pole_at(altitude))
    assert found.used.all()
    assert separation_arcsec(found.axis, axis) < 1e-5


@few
@given(arcs, seeds)
def test_order_of_the_frames_does_not_matter(angles: list[int], seed: int) -> None:
    axis = enu(0.5 * DEG, 50.3 * DEG)
    observed = seen_by(noisy(turned(axis, angles, camera_at(axis, 40.0)), seed))
    order = np.random.default_rng(seed).permutation(len(observed))
    first, second = fitted(observed, pole_at(50.0)), fitted(observed[order], pole_at(50.0))
    assert separation_arcsec(first.axis, second.axis) < 1e-4
    assert second.covariance == pytest.approx(first.covariance, rel=1e-5)
    assert list(second.used) == list(first.used[order])


@few
@given(altitudes, st.floats(-4.0, 4.0), arcs, seeds)
def test_turning_everything_about_the_vertical_changes_azimuth_only(
    altitude: float, by_deg: float, angles: list[int], seed: int
) -> None:
    # directions as they are seen: without air the sky may be turned so, with air the refracted one
    axis = enu(0.5 * DEG, (altitude - 0.2) * DEG)
    observed = seen_by(noisy(turned(axis, angles, camera_at(axis, 40.0)), seed))
    eastward = Rotation.from_rotvec([0.0, 0.0, -by_deg * DEG]).as_matrix()
    before, after = error_of(observed, pole_at(altitude)), error_of(observed @ eastward.T, pole_at(altitude))
    assert after.azimuth_arcmin - before.azimuth_arcmin == pytest.approx(by_deg * 60, abs=1e-4)
    assert after.altitude_arcmin == pytest.approx(before.altitude_arcmin, abs=1e-4)
    assert after.azimuth_sigma_arcmin == pytest.approx(before.azimuth_sigma_arcmin, rel=1e-4)
    assert after.altitude_sigma_arcmin == pytest.approx(before.altitude_sigma_arcmin, rel=1e-4)


@few
@given(altitudes, arcs, seeds)
def test_mirroring_east_and_west_flips_the_azimuth_and_keeps_the_altitude(
    altitude: float, angles: list[int], seed: int
) -> None:
    axis = enu(0.5 * DEG, (altitude - 0.2) * DEG)
    observed = seen_by(noisy(turned(axis, angles, camera_at(axis, 40.0)), seed))
    here, there = error_of(observed, pole_at(altitude)), error_of(observed @ FLIP_EAST, pole_at(altitude))
    assert there.azimuth_arcmin == pytest.approx(-here.azimuth_arcmin, abs=1e-4)
    assert there.altitude_arcmin == pytest.approx(here.altitude_arcmin, abs=1e-4)
    assert there.correlation == pytest.approx(-here.correlation, abs=1e-4)


@few
@given(altitudes, arcs, seeds)
def test_mirroring_the_hemisphere_flips_the_azimuth_and_keeps_the_altitude(
    altitude: float, angles: list[int], seed: int
) -> None:
    # an axis east of its pole is at a positive azimuth error in the north, at a negative one in the south
    axis = enu(0.5 * DEG, (altitude - 0.2) * DEG)
    observed = seen_by(noisy(turned(axis, angles, camera_at(axis, 40.0)), seed))
    north = error_of(observed, pole_at(altitude))
    south = error_of(observed @ FLIP_NORTH, Pole("true", 180.0, altitude))
    assert south.azimuth_arcmin == pytest.approx(-north.azimuth_arcmin, abs=1e-4)
    assert south.altitude_arcmin == pytest.approx(north.altitude_arcmin, abs=1e-4)


@few
@given(altitudes, offsets, offsets)
def test_total_error_is_the_angle_between_axis_and_pole(altitude: float, east: float, up: float) -> None:
    axis, pole = enu(east * DEG, (altitude + up) * DEG), pole_at(altitude)
    error = axis_error(axis, np.zeros((2, 2)), 4, pole)
    assert error.total_arcmin * 60 == pytest.approx(
        float(separation_arcsec(axis, enu(0.0, altitude * DEG))), abs=1e-6
    )
