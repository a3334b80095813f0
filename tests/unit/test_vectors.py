"""Vectors, angles and rotations on cases whose answer is plain geometry."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.vectors import (
    angle_between,
    azalt_from_direction,
    best_rotations,
    cross,
    direction_from_azalt,
    direction_from_spherical,
    rotation_matrix,
    rotation_vector,
    spherical_from_direction,
    tangent_basis,
    unit,
    wrap,
)

EAST, NORTH, UP = np.eye(3)
DEG = np.pi / 180
TINY = 1e-15


@pytest.mark.parametrize(
    ("azimuth_deg", "altitude_deg", "direction"),
    [(0, 0, NORTH), (90, 0, EAST), (180, 0, -NORTH), (270, 0, -EAST), (33, 90, UP), (33, -90, -UP)],
)
def test_azimuth_runs_from_north_through_east(
    azimuth_deg: float, altitude_deg: float, direction: np.ndarray
) -> None:
    assert direction_from_azalt(azimuth_deg * DEG, altitude_deg * DEG) == pytest.approx(direction, abs=TINY)


def test_azimuth_and_altitude_of_a_direction() -> None:
    azimuth, altitude = azalt_from_direction([EAST, NORTH, -EAST, UP + EAST])
    assert azimuth / DEG == pytest.approx([90, 0, 270, 90])
    assert altitude / DEG == pytest.approx([0, 0, 0, 45])


def test_longitude_runs_from_x_towards_y() -> None:
    assert direction_from_spherical(90 * DEG, 0) == pytest.approx([0, 1, 0], abs=TINY)
    longitude, latitude = spherical_from_direction([0.0, -2.0, -2.0])
    assert (longitude / DEG, latitude / DEG) == pytest.approx((270, -45))


def test_latitude_keeps_its_digits_close_to_the_pole() -> None:
    """An arcsine loses half of them: 1e-9 rad from the pole would come out as 0 or 1.5e-8."""
    _, latitude = spherical_from_direction([1e-9, 0.0, 1.0])
    assert np.pi / 2 - latitude == pytest.approx(1e-9, rel=1e-6)


@pytest.mark.parametrize("direction", [(1.0, -1e-20, 0.0), (1.0, -1e-300, 0.5)])
def test_longitude_just_below_zero_is_not_a_full_turn(direction: tuple[float, float, float]) -> None:
    """The remainder of a tiny negative angle rounds to a full turn, which is outside [0, 2 pi)."""
    longitude, _ = spherical_from_direction(direction)
    assert 0 <= longitude < 2 * np.pi


def test_azimuth_just_west_of_north_is_not_a_full_turn() -> None:
    """Else a display shows 360 deg for north."""
    azimuth, _ = azalt_from_direction([-3e-16, 1.0, 0.0])
    assert 0 <= azimuth < 2 * np.pi


def test_wrapped_angle_just_below_minus_half_a_turn_is_in_range() -> None:
    assert -np.pi <= wrap(-np.pi - 4.4e-16) < np.pi


@pytest.mark.parametrize(
    ("angle_deg", "wrapped_deg"), [(0, 0), (180, -180), (-180, -180), (190, -170), (725, 5)]
)
def test_wrap_takes_angles_to_half_a_turn_either_way(angle_deg: float, wrapped_deg: float) -> None:
    assert wrap(angle_deg * DEG) / DEG == pytest.approx(wrapped_deg)


@pytest.mark.parametrize("angle", [0.0, 1e-15, 1e-9, 0.5, np.pi / 2, np.pi - 1e-9, np.pi])
def test_angle_between_is_exact_for_tiny_and_for_opposite_vectors(angle: float) -> None:
    other = 7.0 * np.array([np.cos(angle), np.sin(angle), 0.0])
    assert angle_between(EAST, other) == pytest.approx(angle, rel=1e-9, abs=2e-16)


def test_unit_scales_along_the_last_axis() -> None:
    assert unit([[3.0, 0.0, 4.0], [0.0, 2.0, 0.0]]) == pytest.approx(
        np.array([[0.6, 0.0, 0.8], [0.0, 1.0, 0.0]])
    )


def test_tangent_basis_points_to_growing_azimuth_and_altitude() -> None:
    """Compared with finite differences at the altitude of a pole, north and south."""
    step = 1e-6
    for azimuth, altitude in [(0.01, 0.9), (np.pi + 0.02, 0.6), (1.0, -0.3)]:
        direction = direction_from_azalt(azimuth, altitude)
        basis = tangent_basis(direction)
        along = (direction_from_azalt(azimuth + step, altitude) - direction) / (step * np.cos(altitude))
        higher = (direction_from_azalt(azimuth, altitude + step) - direction) / step
        assert basis[:, 0] == pytest.approx(along, abs=1e-5)
        assert basis[:, 1] == pytest.approx(higher, abs=1e-5)


def test_tangent_basis_at_the_zenith_is_that_of_the_north_meridian() -> None:
    """Climbing the meridian from the north, the way up leads south over the zenith."""
    assert tangent_basis(UP) == pytest.approx(np.stack([EAST, -NORTH], axis=-1), abs=TINY)
    almost = tangent_basis(direction_from_azalt(0.0, np.pi / 2 - 1e-6))
    assert tangent_basis(UP) == pytest.approx(almost, abs=2e-6)


def test_rotation_is_right_handed() -> None:
    """A quarter turn about Up carries East to North, counterclockwise seen from above."""
    assert rotation_matrix(UP, np.pi / 2) @ EAST == pytest.approx(NORTH, abs=TINY)
    assert rotation_matrix(NORTH, np.pi / 2) @ UP == pytest.approx(EAST, abs=TINY)


def test_rotation_vector_is_axis_times_angle() -> None:
    quarter = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    assert rotation_vector(np.stack([quarter, np.eye(3), quarter.T])) == pytest.approx(
        np.array([[0, 0, np.pi / 2], [0, 0, 0], [0, 0, -np.pi / 2]]), abs=TINY
    )


def test_attitude_carries_the_camera_to_the_sky() -> None:
    """A camera's x, y, z seen in the North, Up and East: each column of the matrix is that direction."""
    matrix = best_rotations(np.eye(3), np.stack([NORTH, UP, EAST])[None], np.ones(3))[0]
    assert matrix == pytest.approx(np.stack([NORTH, UP, EAST], axis=-1), abs=TINY)


def test_attitude_leans_on_the_heavier_point() -> None:
    """Two points a right angle apart in the camera are seen 100 deg apart; weights 1 and 99.

    Sharing the excess as e1 + e2 = 10 deg so that w1 (1 - cos e1) + w2 (1 - cos e2) is least asks for
    w1 sin e1 = w2 sin e2, so tan e2 = sin 10 deg / (99 + cos 10 deg).
    """
    seen = np.array([EAST, [np.cos(100 * DEG), np.sin(100 * DEG), 0.0]])
    matrix = best_rotations(np.array([EAST, NORTH]), seen[None], np.array([1.0, 99.0]))[0]
    expected = np.arctan2(np.sin(10 * DEG), 99 + np.cos(10 * DEG))
    assert angle_between(matrix @ NORTH, seen[1]) == pytest.approx(expected, abs=1e-14)
    assert angle_between(matrix @ EAST, seen[0]) == pytest.approx(10 * DEG - expected, abs=1e-14)


def test_vector_products_are_those_of_numpy() -> None:
    """Of one with many, of many with many, and of stacks."""
    rng = np.random.default_rng(3)
    many, others = rng.normal(size=(2, 5, 4, 3))
    assert cross(many, others) == pytest.approx(np.cross(many, others), abs=TINY)
    assert cross(many, EAST) == pytest.approx(np.cross(many, EAST), abs=TINY)
    assert cross(NORTH, UP) == pytest.approx(EAST)
