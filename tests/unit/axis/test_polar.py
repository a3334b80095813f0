"""The axis in polar coordinates about the boresight: angles by scipy, slopes by differences."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.polar import polar_places
from polarcheck.vectors import tangent_basis
from tests.rigid_mount import AXIS, NOISE, WEIGHTS, camera_at, seen_by, turned

ANGLES = np.linspace(-60.0, 60.0, 5)


def attitudes_of(rotations: Rotation) -> Attitudes:
    count = len(rotations)
    return camera_attitudes(seen_by(rotations), WEIGHTS, np.zeros(count, dtype=int), np.full(count, NOISE))


def test_turns_about_the_axis_change_neither_distance_nor_direction() -> None:
    places = polar_places(attitudes_of(turned(AXIS, ANGLES, camera_at(AXIS, 40.0))), AXIS)
    assert np.degrees(places.distance) == pytest.approx(np.full(5, 40.0), abs=1e-6)
    assert places.direction == pytest.approx(np.full(5, places.direction[0]), abs=1e-9)


def test_turns_about_the_declination_axis_change_the_distance_alone() -> None:
    camera = camera_at(AXIS, 40.0)
    sight = camera.apply([0.0, 0.0, 1.0])
    declination = np.cross(AXIS, sight) / np.linalg.norm(np.cross(AXIS, sight))
    lifted = Rotation.from_rotvec(np.multiply.outer(np.radians([0.0, 0.5, -1.0]), declination)) * camera
    places = polar_places(attitudes_of(lifted), AXIS)
    assert np.degrees(places.distance) == pytest.approx([40.0, 40.5, 39.0], abs=1e-6)
    assert places.direction == pytest.approx(np.full(3, places.direction[0]), abs=1e-9)


def test_design_is_the_slope() -> None:
    attitudes = attitudes_of(turned(AXIS, ANGLES, camera_at(AXIS, 40.0)))
    places = polar_places(attitudes, AXIS)
    for k, way in enumerate(tangent_basis(AXIS).T):
        moved = (AXIS + 1e-6 * way) / np.linalg.norm(AXIS + 1e-6 * way)
        there = polar_places(attitudes, moved)
        assert (there.distance - places.distance) / 1e-6 == pytest.approx(places.design[:, 0, k], abs=1e-5)
        turned_by = np.sin(places.distance) * (there.direction - places.direction) / 1e-6
        assert turned_by == pytest.approx(places.design[:, 1, k], abs=1e-5)
