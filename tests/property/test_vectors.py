"""What holds for every vector, angle and rotation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from polarcheck.vectors import (
    Array,
    angle_between,
    azalt_from_direction,
    best_rotations,
    direction_from_azalt,
    direction_from_spherical,
    rotation_matrix,
    rotation_vector,
    spherical_from_direction,
    tangent_basis,
    unit,
    wrap,
)

TINY = 1e-15

longitudes = st.floats(0, 2 * np.pi, exclude_max=True)
latitudes = st.floats(-np.pi / 2, np.pi / 2)
turns = st.floats(-np.pi, np.pi)
any_angle = st.floats(-1e4, 1e4)


@st.composite
def directions(draw: st.DrawFn) -> Array:
    """Unit vectors all over the sphere, the poles and the meridians among them."""
    longitude, latitude = draw(longitudes), draw(latitudes)
    return np.array(
        [
            np.cos(latitude) * np.cos(longitude),
            np.cos(latitude) * np.sin(longitude),
            np.sin(latitude),
        ]
    )


@given(directions())
def test_spherical_and_horizontal_angles_lead_back_to_the_direction(direction: Array) -> None:
    assert direction_from_spherical(*spherical_from_direction(direction)) == pytest.approx(
        direction, abs=1e-15
    )
    assert direction_from_azalt(*azalt_from_direction(direction)) == pytest.approx(direction, abs=TINY)


@given(directions())
def test_angles_stay_in_their_ranges(direction: Array) -> None:
    for longitude, latitude in (spherical_from_direction(direction), azalt_from_direction(direction)):
        assert 0 <= longitude < 2 * np.pi
        assert -np.pi / 2 <= latitude <= np.pi / 2


@given(any_angle)
def test_wrapping_changes_an_angle_by_whole_turns(angle: float) -> None:
    wrapped = float(wrap(angle))
    assert -np.pi <= wrapped < np.pi
    whole = (angle - wrapped) / (2 * np.pi)
    assert whole == pytest.approx(round(whole), abs=1e-9)


@given(directions(), st.floats(1e-9, np.pi))
def test_angle_between_measures_the_turn_between(direction: Array, turn: float) -> None:
    across = tangent_basis(direction)[:, 0]
    turned = np.cos(turn) * direction + np.sin(turn) * across
    assert angle_between(direction, turned) == pytest.approx(turn, abs=1e-15, rel=1e-6)
    assert angle_between(direction, turned) == angle_between(turned, direction)


@given(directions(), directions(), directions())
def test_angles_obey_the_triangle_inequality(a: Array, b: Array, c: Array) -> None:
    assert angle_between(a, c) <= angle_between(a, b) + angle_between(b, c) + 1e-15


@given(directions())
def test_tangent_basis_is_orthonormal_with_one_handedness(direction: Array) -> None:
    """Azimuth to the right, altitude up, the sight line away from the eye: a left-handed set."""
    frame = np.column_stack([tangent_basis(direction), direction])
    assert frame.T @ frame == pytest.approx(np.eye(3), abs=1e-14)
    assert np.linalg.det(frame) == pytest.approx(-1.0, abs=1e-14)


@given(directions(), turns, turns)
def test_turns_about_one_axis_add_up_and_leave_it_alone(axis: Array, first: float, second: float) -> None:
    matrix = rotation_matrix(axis, first)
    assert matrix @ matrix.T == pytest.approx(np.eye(3), abs=1e-14)
    assert matrix @ axis == pytest.approx(axis, abs=1e-14)
    assert matrix @ rotation_matrix(axis, second) == pytest.approx(
        rotation_matrix(axis, first + second), abs=1e-14
    )


@given(directions(), st.floats(0, np.pi))
def test_rotation_vector_undoes_rotation_matrix(axis: Array, angle: float) -> None:
    """Close to half a turn either sign of the axis is right, so the matrices are compared too."""
    vector = rotation_vector(rotation_matrix(axis, angle))
    assert np.linalg.norm(vector) == pytest.approx(angle, abs=1e-13)
    if angle < np.pi - 1e-9:
        assert vector == pytest.approx(axis * angle, abs=1e-13)
    length = max(float(np.linalg.norm(vector)), 1e-300)
    assert rotation_matrix(vector / length, length) == pytest.approx(rotation_matrix(axis, angle), abs=1e-13)


@given(directions(), turns, directions(), directions(), st.floats(0.1, 10))
def test_two_directions_that_turn_together_give_the_turn(
    axis: Array, angle: float, a: Array, b: Array, weight: float
) -> None:
    assume(0.1 < angle_between(a, b) < np.pi - 0.1)
    truth = rotation_matrix(axis, angle)
    template = np.stack([a, b])
    found = best_rotations(template, (template @ truth.T)[None], np.array([1.0, weight]))[0]
    assert found == pytest.approx(truth, abs=1e-12)


@given(directions(), turns, st.integers(0, 2**32 - 1))
def test_turning_the_sky_turns_the_attitude_with_it(axis: Array, angle: float, seed: int) -> None:
    """Noise included: attitudes of a turned sky are the turned attitudes."""
    rng = np.random.default_rng(seed)
    template = unit(rng.normal(size=(5, 3)))
    seen = unit(template + rng.normal(scale=0.01, size=(4, 5, 3)))
    turn, weights = rotation_matrix(axis, angle), rng.uniform(0.5, 2.0, size=5)
    assert best_rotations(template, seen @ turn.T, weights) == pytest.approx(
        turn @ best_rotations(template, seen, weights), abs=1e-12
    )
