"""Rotations and attitudes against scipy and a worked example of Wahba's problem."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.vectors import best_rotations, rotation_matrix, rotation_vector
from tests.helpers import ARCSEC, sphere_points

ANGLES = [0.0, 1e-12, 1e-6, 0.3, 1.5, 3.0, np.pi - 1e-6, np.pi - 1e-12]


def test_rotation_matrix_agrees_with_scipy() -> None:
    """scipy Rotation.from_rotvec. Tolerance 1e-14: floating point."""
    axes = sphere_points(50, seed=1)
    for angle in ANGLES:
        theirs = Rotation.from_rotvec(axes * angle).as_matrix()
        assert rotation_matrix(axes, angle) == pytest.approx(theirs, abs=1e-14)


@pytest.mark.parametrize("angle", ANGLES)
def test_rotation_vector_agrees_with_scipy(angle: float) -> None:
    """scipy Rotation.as_rotvec of the same matrices, small turns and turns near pi. Tolerance 1e-12 rad
    (2e-7"): the matrix holds 16 digits.
    """
    matrices = Rotation.from_rotvec(sphere_points(50, seed=2) * angle).as_matrix()
    theirs = Rotation.from_matrix(matrices).as_rotvec()
    assert rotation_vector(matrices) == pytest.approx(theirs, abs=1e-12)


def test_half_turns_give_either_end_of_the_axis() -> None:
    """At exactly pi both signs of the axis are the same rotation: compared as matrices with scipy's."""
    axes = np.concatenate([np.eye(3), sphere_points(20, seed=3)])
    matrices = Rotation.from_rotvec(axes * np.pi).as_matrix()
    vectors = rotation_vector(matrices)
    assert np.linalg.norm(vectors, axis=-1) == pytest.approx(np.pi, abs=1e-12)
    assert Rotation.from_rotvec(vectors).as_matrix() == pytest.approx(matrices, abs=1e-12)


def test_attitude_solves_the_worked_wahba_example() -> None:
    """Wahba (1965), SIAM Review 7, 409, posed as: r = x, y, z, (1, 1, 1)/sqrt 3, weights 1, 2, 3, 1, b = T r
    with T of rotation vector (0.3, -0.4, 0.5), 0.01 added to y of b1, 0.005 to x of b3, renormalised.

    Expected: Davenport's q-method (1968) and scipy align_vectors, which agree to 8 digits: rotation
    vector, largest eigenvalue 6.99997162 (the gain: sum of w b.T r). Tolerance 1e-8.
    """
    template = np.vstack([np.eye(3), np.ones(3) / np.sqrt(3)])
    weights = np.array([1.0, 2.0, 3.0, 1.0])
    seen = Rotation.from_rotvec([0.3, -0.4, 0.5]).apply(template)
    seen[0, 1] += 0.01
    seen[2, 0] += 0.005
    seen /= np.linalg.norm(seen, axis=1, keepdims=True)
    matrix = best_rotations(template, seen[None], weights)[0]
    assert rotation_vector(matrix) == pytest.approx([0.30021316, -0.39644383, 0.50357479], abs=1e-8)
    gain = np.sum(weights * np.sum(seen * (template @ matrix.T), axis=1))
    assert gain == pytest.approx(6.99997162, abs=1e-8)


def test_attitudes_of_narrow_fields_agree_with_scipy() -> None:
    """scipy Rotation.align_vectors, fields 1 deg wide with 2" noise, weights uneven, twelve frames at once.

    Tolerance 1e-3": both solve one least-squares problem; points so close together leave few digits for
    the roll.
    """
    rng = np.random.default_rng(4)
    corners = np.array([[1.0, x, y] for x in (-0.008, 0.008) for y in (-0.006, 0.006)] + [[1.0, 0.0, 0.0]])
    template = corners / np.linalg.norm(corners, axis=1, keepdims=True)
    weights = np.array([1.0, 2.0, 1.0, 3.0, 0.5])
    truth = Rotation.from_quat(rng.normal(size=(12, 4)))
    seen = np.stack([turn.apply(template) for turn in truth]) + rng.normal(scale=2 * ARCSEC, size=(12, 5, 3))
    seen /= np.linalg.norm(seen, axis=-1, keepdims=True)
    ours = Rotation.from_matrix(best_rotations(template, seen, weights))
    theirs = Rotation.concatenate(
        [Rotation.align_vectors(frame, template, weights=weights)[0] for frame in seen]
    )
    assert (ours * theirs.inv()).magnitude().max() / ARCSEC < 1e-3


def test_attitude_is_never_a_mirror_image() -> None:
    """Three coplanar directions fit a reflection as well as a turn; only a turn is an attitude (Kabsch
    1976, from memory): determinant +1.
    """
    template = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [np.sqrt(0.5), np.sqrt(0.5), 0.0]])
    mirrored = template * [1.0, 1.0, -1.0] @ np.diag([-1.0, 1.0, 1.0])
    matrix = best_rotations(template, mirrored[None], np.ones(3))[0]
    assert np.linalg.det(matrix) == pytest.approx(1.0, abs=1e-12)
    assert template @ matrix.T == pytest.approx(mirrored, abs=1e-12)
