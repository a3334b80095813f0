"""Bundles of directions to attitudes, against scipy's rotations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from tests.helpers import ARCSEC, DEG
from tests.rigid_mount import (
    AXIS,
    HEIGHT_DEG,
    NOISE,
    WEIGHTS,
    WIDTH_DEG,
    Array,
    camera_at,
    noisy,
    seen_by,
    sensor,
    turned,
)

TURNS = [-40.0, -10.0, 5.0, 60.0]
SWEEP = turned(AXIS, TURNS, camera_at(AXIS, 40.0))


def attitudes_of(observed: Array, camera: list[int] | None = None) -> Attitudes:
    n = len(observed)
    cameras = np.zeros(n, dtype=int) if camera is None else np.array(camera)
    return camera_attitudes(observed, WEIGHTS, cameras, np.full(n, NOISE))


def relative(matrices: Array) -> Rotation:
    """Turns from the first frame to each."""
    rotations = Rotation.from_matrix(matrices)
    return rotations * rotations[0].inv()


def arcsec_apart(a: Rotation, b: Rotation) -> float:
    return float(np.max((a * b.inv()).magnitude())) / ARCSEC


@pytest.mark.parametrize("shape", ["gnomonic", "distorted", "mirrored", "wide"])
def test_turns_between_frames_are_found_whatever_the_camera_is_like(shape: str) -> None:
    # 1e-6": no noise; a camera is any rigid bundle of directions
    points = sensor(30.0, 20.0) if shape == "wide" else sensor()
    if shape == "distorted":
        points = points * [1.0, 1.0, 1.0] + np.outer(np.sum(points[:, :2] ** 2, axis=1), [3.0, 2.0, 0.0])
        points /= np.linalg.norm(points, axis=-1, keepdims=True)
    if shape == "mirrored":
        points = points * [-1.0, 1.0, 1.0]
    found = attitudes_of(seen_by(SWEEP, points))
    assert arcsec_apart(relative(found.matrices), SWEEP * SWEEP[0].inv()) < 1e-6
    angles = found.templates[0] @ found.templates[0].T
    assert angles == pytest.approx(points @ points.T, abs=1e-12)


def test_noisy_frames_get_the_attitudes_of_scipy() -> None:
    # scipy Rotation.align_vectors with the same template and weights; 1e-3": narrow fields leave few digits of roll
    rng = np.random.default_rng(3)
    observed = seen_by(SWEEP) + rng.normal(size=(4, 9, 3)) * 2 * ARCSEC
    observed /= np.linalg.norm(observed, axis=-1, keepdims=True)
    found = attitudes_of(observed)
    theirs = [Rotation.align_vectors(seen, found.templates[0], weights=WEIGHTS)[0] for seen in observed]
    assert arcsec_apart(Rotation.from_matrix(found.matrices), Rotation.concatenate(theirs)) < 1e-3


def test_template_is_the_mean_shape_of_a_cameras_frames() -> None:
    # 16 frames with 2" on each point: the shape is a quarter as noisy, 0.5"; 5 sigma of its largest component
    rng = np.random.default_rng(4)
    many = turned(AXIS, np.linspace(-60, 60, 16), camera_at(AXIS, 40.0))
    observed = seen_by(many) + rng.normal(size=(16, 9, 3)) * 2 * ARCSEC
    observed /= np.linalg.norm(observed, axis=-1, keepdims=True)
    template = attitudes_of(observed).templates[0]
    onto, _ = Rotation.align_vectors(template, sensor(), weights=WEIGHTS)
    off = np.linalg.norm(template - onto.apply(sensor()), axis=-1) / ARCSEC
    assert off.max() < 2.5
    one_frame = Rotation.align_vectors(observed[0], sensor(), weights=WEIGHTS)[0].apply(sensor())
    assert off.max() < np.max(np.linalg.norm(observed[0] - one_frame, axis=-1)) / ARCSEC


def test_roll_moment_is_that_of_stars_spread_evenly() -> None:
    # mean square distance from the middle of a rectangle, (width^2 + height^2) / 12; 1e-3: the field is not flat
    found = attitudes_of(seen_by(SWEEP))
    expected = ((WIDTH_DEG * DEG) ** 2 + (HEIGHT_DEG * DEG) ** 2) / 12
    assert found.roll_moments[0] == pytest.approx(expected, rel=1e-3)


def test_boresight_is_the_middle_of_the_sensor() -> None:
    found = attitudes_of(seen_by(SWEEP))
    looks = np.einsum("nij,j->ni", found.matrices, found.boresights[0])
    assert looks == pytest.approx(SWEEP.apply([0.0, 0.0, 1.0]), abs=1e-12)


@pytest.mark.parametrize(
    ("by", "expected_arcsec"),
    [
        ([10 * ARCSEC, 0.0, 0.0], 10.0),
        ([0.0, 10 * ARCSEC, 0.0], 10.0),
        ([0.0, 0.0, 0.01], 0.01 * np.hypot(WIDTH_DEG, HEIGHT_DEG) * 3600 / np.sqrt(12)),
    ],
    ids=["across x", "across y", "about the boresight"],
)
def test_residual_is_the_root_mean_square_shift_over_the_sensor(
    by: list[float], expected_arcsec: float
) -> None:
    # rigid shifts move every point alike; a turn moves it by its distance from the middle. 1e-3: not flat
    found = attitudes_of(seen_by(SWEEP))
    looks = Rotation.from_matrix(found.matrices)
    frame = (
        looks.inv() * SWEEP
    )  # from the sensor of these tests into the fit's camera, one rotation throughout
    models = looks * frame * Rotation.from_rotvec(by) * frame.inv()
    assert found.residuals(models.as_matrix()) / ARCSEC == pytest.approx([expected_arcsec] * 4, rel=1e-3)


def test_each_camera_has_its_own_template() -> None:
    wide = sensor(4.0, 3.0)
    observed = np.concatenate([seen_by(SWEEP[:2]), seen_by(SWEEP[2:], wide)])
    found = attitudes_of(observed, [0, 0, 1, 1])
    for template, points in zip(found.templates, (sensor(), wide), strict=True):
        assert template @ template.T == pytest.approx(points @ points.T, abs=1e-12)


def test_noise_of_stars_becomes_noise_of_pointing_and_roll() -> None:
    # 400 draws: a standard deviation has a standard error of 3.5 %, the tolerance is four of them
    many = turned(AXIS, np.zeros(400), camera_at(AXIS, 40.0))
    found = attitudes_of(seen_by(noisy(many, 5)))
    off = relative(found.matrices).as_rotvec()
    about_look = off @ many[0].apply([0.0, 0.0, 1.0])
    across = off - np.outer(about_look, many[0].apply([0.0, 0.0, 1.0]))
    assert np.std(across, axis=0) @ np.std(across, axis=0) == pytest.approx(2 * NOISE**2, rel=0.28)
    moment = found.roll_moments[0]
    assert np.std(about_look) == pytest.approx(NOISE / np.sqrt(moment), rel=0.14)
