"""Which frames belong together: groups, wrong frames and knocks, on a mount whose axis is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.fit import AxisFit, fit_axis
from polarcheck.errors import GeometryError
from polarcheck.vectors import Array, angle_between, direction_from_azalt, tangent_basis

ARCSEC = np.pi / 180 / 3600
DEGREE = np.pi / 180
POLE = direction_from_azalt(0.0, 52 * DEGREE)
AXIS = direction_from_azalt(0.6 * DEGREE, 52.3 * DEGREE)
HALF = 0.01
NOISE = 0.5 * ARCSEC
TRULY = 6 * ARCSEC  # an axis that a wrong frame had pulled would be off by much more; 5 sigma of these sweeps


def camera_points() -> tuple[Array, Array]:
    line, weights = np.array([-1, 0, 1]) * np.sqrt(0.6) * HALF, np.array([5, 8, 5]) / 18
    x, y = np.meshgrid(line, line)
    points = np.stack([x.ravel(), y.ravel(), np.ones(9)], axis=-1)
    return points / np.linalg.norm(points, axis=1, keepdims=True), np.outer(weights, weights).ravel()


def mount(count: int, seed: int = 1, arc: float = 90.0, distances: Array | float = 40.0) -> Array:
    """Attitudes, shape (n, 3, 3), of a sweep with star noise; `distances` from the axis in degrees."""
    rng = np.random.default_rng(seed)
    up = tangent_basis(AXIS)[:, 1]
    side = np.cross(AXIS, up)
    matrices = []
    for turn, distance in zip(
        np.linspace(-arc / 2, arc / 2, count), np.broadcast_to(distances, count), strict=True
    ):
        boresight = Rotation.from_rotvec(side * distance * DEGREE).apply(AXIS)
        camera = np.stack([side, np.cross(boresight, side), boresight], axis=-1)
        sigmas = np.array([1, 1, 1 / np.sqrt(2 * HALF**2 / 3)]) * NOISE
        noise = Rotation.from_rotvec(rng.normal(size=3) * sigmas)
        matrices.append(
            (Rotation.from_rotvec(AXIS * turn * DEGREE) * Rotation.from_matrix(camera) * noise).as_matrix()
        )
    return np.array(matrices)


def fit(matrices: Array, camera: Array | None = None) -> AxisFit:
    template, weights = camera_points()
    observed = np.einsum("nij,kj->nki", matrices, template)
    return fit_axis(observed, weights, np.full(len(matrices), NOISE), POLE, camera=camera)


def off(matrix: Array, angle: float, seed: int = 7) -> Array:
    """An attitude solved elsewhere by an angle, in some direction. [rad]"""
    axis = np.random.default_rng(seed).normal(size=3)
    return Rotation.from_rotvec(axis / np.linalg.norm(axis) * angle).as_matrix() @ matrix


@pytest.mark.parametrize("wrong", [{2: 0.4 * DEGREE}, {2: 40 * ARCSEC}, {1: 0.4 * DEGREE, 4: 40 * ARCSEC}])
def test_wrongly_solved_frames_among_six_do_not_move_the_axis(wrong: dict[int, float]) -> None:
    matrices = mount(6)
    for i, angle in wrong.items():
        matrices[i] = off(matrices[i], angle, seed=7 + i)
    found = fit(matrices)
    left_out = {i for i in range(6) if not found.used[i]}
    large = {i for i, angle in wrong.items() if angle > 60 * ARCSEC}
    assert large <= left_out <= set(wrong)  # a small error in right ascension does no harm and may stay
    assert angle_between(found.axis, AXIS) < TRULY


@pytest.mark.parametrize(("count", "seed"), [(10, 42), (11, 23)])
def test_three_wrong_frames_are_found_though_the_likeliest_pairs_hide_them(count: int, seed: int) -> None:
    """20 arcsec each, forty times the noise, but some pairs of good frames and wrong ones agree on an axis, too."""
    matrices = mount(count, seed=seed)
    wrong = np.random.default_rng(seed).choice(count, 3, replace=False)
    for i in wrong:
        matrices[i] = off(matrices[i], 20 * ARCSEC, seed=100 + int(i))
    found = fit(matrices)
    assert not found.used[wrong].any()
    assert angle_between(found.axis, AXIS) < TRULY


def test_a_good_sweep_keeps_every_frame() -> None:
    """Forty seeded sweeps of eight: a chance of 1e-4 or less each that one loses a frame."""
    assert all(fit(mount(8, seed=seed)).used.all() for seed in range(40))


@pytest.mark.parametrize(
    "distances", [(40, 40, 40, 60, 60, 60), (40, 40, 40, -40, -40, -40), (40, 40, 60, 60)]
)
def test_declination_and_pier_side_make_groups(distances: tuple[float, ...]) -> None:
    found = fit(mount(len(distances), distances=np.array(distances, dtype=float)))
    half = len(distances) // 2
    assert found.used.all()
    assert len(set(found.groups[:half])) == len(set(found.groups[half:])) == 1
    assert found.groups[0] != found.groups[-1]
    assert angle_between(found.axis, AXIS) < TRULY


def test_a_small_slip_of_declination_makes_groups_too() -> None:
    found = fit(mount(6, distances=np.array([40, 40, 40, 40 + 5 / 60, 40 + 5 / 60, 40 + 5 / 60])))
    assert found.used.all() and found.groups[0] != found.groups[5]
    assert angle_between(found.axis, AXIS) < TRULY


def test_two_cameras_are_two_groups_of_one_mount() -> None:
    matrices = mount(6)
    turned = Rotation.from_euler("ZYX", [80, 3, 5], degrees=True).as_matrix()
    matrices[1::2] = matrices[1::2] @ turned
    found = fit(matrices, camera=np.array([0, 1, 0, 1, 0, 1]))
    assert found.used.all()
    assert angle_between(found.axis, AXIS) < 3 * TRULY  # three frames a camera, and the roll of each counts


def test_a_knock_moves_the_axis_and_keeps_its_place_in_the_camera() -> None:
    matrices = mount(8)
    knock = Rotation.from_rotvec([0.0011, 0.0007, -0.0005]).as_matrix()
    matrices[4:] = knock @ matrices[4:]
    found = fit(matrices)
    assert found.turns is not None and found.turns.moments == (4,)
    assert found.used.all()
    assert angle_between(found.axis, knock @ AXIS) < 2 * TRULY  # four frames over 39 deg
    assert angle_between(found.turns.axis_before(found.axis), AXIS) < 2 * TRULY


def test_frames_before_a_knock_that_moved_the_declination_too_are_left_out() -> None:
    matrices = mount(10, distances=np.repeat([40.0, 40.2], 5))
    knock = Rotation.from_rotvec([0.0011, 0.0007, -0.0005]).as_matrix()
    matrices[5:] = knock @ matrices[5:]
    found = fit(matrices)
    assert found.knocked_before == 5
    assert list(found.used) == [False] * 5 + [True] * 5
    assert angle_between(found.axis, knock @ AXIS) < 2 * TRULY


def sweeps(*counts: int, arc: float = 60.0) -> tuple[Array, Array]:
    """Sweeps over the same positions with knob turns between them, and the axis of the last one."""
    knob = Rotation.identity()
    parts = []
    for i, count in enumerate(counts):
        knob = Rotation.from_rotvec(np.array([0.004, 0.0, -0.006]) * min(i, 1)) * knob
        parts.append(knob.as_matrix() @ mount(count, seed=3 + i, arc=arc))
    return np.concatenate(parts), knob.apply(AXIS)


@pytest.mark.parametrize("counts", [(2, 2), (3, 3), (6, 2), (2, 5), (3, 3, 3), (4, 2, 3, 2)])
def test_sweeps_with_knob_turns_between_them_give_the_axis_of_the_last(counts: tuple[int, ...]) -> None:
    matrices, axis = sweeps(*counts)
    found = fit(matrices)
    assert found.turns is not None
    assert found.turns.moments == tuple(np.cumsum(counts)[:-1])
    off = tangent_basis(found.axis).T @ axis
    assert off @ np.linalg.solve(found.covariance, off) < 14  # 1e-3 of chi square with two degrees of freedom
    assert np.sqrt(np.linalg.eigvalsh(found.covariance)[-1]) < 5 / 60 * DEGREE


def test_three_frames_that_contradict_each_other_are_all_kept_with_a_wide_sigma() -> None:
    matrices = mount(3)
    matrices[1] = off(matrices[1], 0.5 * DEGREE, seed=3)
    found = fit(matrices)
    assert found.used.all() and not found.agrees
    assert np.sqrt(np.trace(found.covariance)) > 60 * ARCSEC


@pytest.mark.parametrize("order", [(5, 4, 3, 2, 1, 0), (3, 0, 5, 1, 4, 2)])
def test_the_order_of_good_frames_does_not_matter(order: tuple[int, ...]) -> None:
    """Tolerance 0.001 arcsec: rounding only."""
    matrices = mount(6)
    assert angle_between(fit(matrices).axis, fit(matrices[list(order)]).axis) < 1e-3 * ARCSEC


def test_frames_without_a_turn_between_them_are_refused() -> None:
    with pytest.raises(GeometryError, match="turn the mount in right ascension"):
        fit(mount(4, arc=0.1))


def test_turns_about_something_far_from_the_pole_are_refused() -> None:
    turned = Rotation.from_rotvec(np.outer([0.0, 0.6], [1.0, 0.0, 0.0])).as_matrix() @ mount(1)[0]
    with pytest.raises(GeometryError, match="within 20 deg of the pole"):
        fit(turned)


def test_single_frames_of_two_cameras_are_refused() -> None:
    with pytest.raises(GeometryError, match="same camera"):
        fit(mount(2), camera=np.array([0, 1]))


def test_repeats_at_one_station_do_not_count_as_independent() -> None:
    """Three frames at each of three places share their place's error: six degrees of freedom would be wrong,
    three places leave two (two per place, less two for the axis and two for the group).
    """
    matrices = np.repeat(mount(3), 3, axis=0)
    template, weights = camera_points()
    observed = np.einsum("nij,kj->nki", matrices, template)
    found = fit_axis(observed, weights, np.full(9, NOISE), POLE, station=np.repeat([0, 1, 2], 3))
    assert found.degrees_of_freedom == 2
    single = fit(mount(3))
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(np.sqrt(np.diag(single.covariance)), rel=1e-3)
