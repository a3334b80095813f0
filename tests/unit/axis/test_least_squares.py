"""The least-squares axis: its Jacobian, its covariance and its misfits, against scipy and plain geometry."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.least_squares import (
    AxisSolution,
    axis_levers,
    axis_of_turn,
    settled_axis,
    solve_axis,
    turn_about,
)
from tests.benchmarks.cramer_rao import axis_bound, even_grid, rightward_and_upward
from tests.helpers import ARCSEC, DEG, separation_arcsec, sphere_points
from tests.rigid_mount import (
    AXIS,
    HEIGHT_DEG,
    NOISE,
    PIXEL_ARCSEC,
    POLE,
    WEIGHTS,
    WIDTH_DEG,
    amended,
    camera_at,
    noisy,
    seen_by,
    turned,
)

TURNS = np.array([-50.0, -20.0, 0.0, 15.0, 40.0])
CAMERA = camera_at(AXIS, 40.0)
FLIPPED = camera_at(AXIS, 70.0, 200.0)


def attitudes_of(rotations: Rotation) -> Attitudes:
    n = len(rotations)
    return camera_attitudes(seen_by(rotations), WEIGHTS, np.zeros(n, dtype=int), np.full(n, NOISE))


def solved(
    rotations: Rotation, groups: list[int] | None = None, used: list[bool] | None = None
) -> AxisSolution:
    n = len(rotations)
    return solve_axis(
        attitudes_of(rotations),
        np.zeros(n, dtype=int) if groups is None else np.array(groups),
        np.ones(n, dtype=bool) if used is None else np.array(used),
        POLE,
    )


def two_groups() -> tuple[Rotation, list[int]]:
    rotations = Rotation.concatenate([turned(AXIS, TURNS, CAMERA), turned(AXIS, TURNS[:3] + 7, FLIPPED)])
    return rotations, [0] * 5 + [1] * 3


def test_axis_of_turn_is_scipys_rotation_vector() -> None:
    rng = np.random.default_rng(1)
    first, second = (
        Rotation.from_quat(rng.normal(size=(2, 30, 4)).reshape(60, 4))[:30],
        Rotation.from_quat(rng.normal(size=(30, 4))),
    )
    axis, angle = axis_of_turn(first.as_matrix(), second.as_matrix())
    assert axis * angle[:, None] == pytest.approx((second * first.inv()).as_rotvec(), abs=1e-12)


def test_turn_about_an_axis_comes_nearest_to_the_rotation() -> None:
    # scipy minimize_scalar of the angle that is left; 1e-6 rad, its own tolerance
    for seed, axis in enumerate(sphere_points(10, seed=2)):
        rotation = Rotation.from_quat(np.random.default_rng(seed).normal(size=4))

        def left(angle: float, axis: np.ndarray = axis, rotation: Rotation = rotation) -> float:
            return float((Rotation.from_rotvec(-angle * axis) * rotation).magnitude())

        starts = np.linspace(-np.pi, np.pi, 9)
        tries = [
            minimize_scalar(left, bounds=b, method="bounded", options={"xatol": 1e-9})
            for b in pairwise(starts)
        ]
        best = min(tries, key=lambda found: float(found.fun)).x
        found = turn_about(axis, rotation.as_matrix())
        assert np.exp(1j * found) == pytest.approx(np.exp(1j * best), abs=1e-6)


def test_levers_displace_the_axis_in_azimuth_and_in_altitude() -> None:
    step = 1e-6
    for lever, towards in zip(axis_levers(AXIS).T, rightward_and_upward(AXIS), strict=True):
        moved = Rotation.from_rotvec(lever * step).apply(AXIS)
        assert (moved - AXIS) / step == pytest.approx(towards, abs=1e-5)


@pytest.mark.parametrize("groups", [1, 2])
def test_noise_free_frames_give_the_axis_the_turns_and_no_misfit(groups: int) -> None:
    rotations, group = two_groups() if groups == 2 else (turned(AXIS, TURNS, CAMERA), [0] * 5)
    found = solved(rotations, group)
    assert separation_arcsec(found.axis, AXIS) < 1e-6
    assert np.abs(found.misfit).max() / ARCSEC < 1e-6
    assert (found.turns[:5] - found.turns[2]) / DEG == pytest.approx(TURNS - TURNS[2], abs=1e-9)
    assert found.chi_square == pytest.approx(0.0, abs=1e-9)


def test_design_is_the_numeric_derivative_of_the_model() -> None:
    """The axis displaced, cameras and turns kept: scipy's rotations, central differences of 1e-5 rad.

    A rotation common to a group belongs to its camera, so both sides are taken less their group's mean; and
    a turn about the axis has no part in the two components.
    """
    rotations, groups = two_groups()
    found = solved(rotations, groups)
    cameras = Rotation.from_matrix(found.cameras)
    step, slopes = 1e-5, []
    for towards in rightward_and_upward(found.axis):
        moved = []
        for sign in (1, -1):
            axis = found.axis + sign * step * towards
            axis /= np.linalg.norm(axis)
            turn = Rotation.from_rotvec(np.multiply.outer(found.turns, axis))
            model = turn * Rotation.from_matrix(cameras.as_matrix()[groups])
            moved.append((Rotation.from_matrix(found.models).inv() * model).as_rotvec())
        slope = (moved[0] - moved[1]) / (2 * step)
        slopes.append(np.einsum("nic,ni->nc", found.planes[groups], slope))
    numeric = np.stack(slopes, axis=-1)
    for g in (0, 1):
        members = np.array(groups) == g
        ours = found.design[members] - found.design[members].mean(axis=0)
        assert ours == pytest.approx(numeric[members] - numeric[members].mean(axis=0), abs=1e-8)
        assert np.abs(ours).max() > 0.1


def test_components_are_across_the_axis_and_the_first_lies_across_the_boresight() -> None:
    rotations, groups = two_groups()
    found = solved(rotations, groups)
    boresight = attitudes_of(rotations).boresights[0]
    for camera, plane in zip(found.cameras, found.planes, strict=True):
        inner = camera.T @ found.axis
        assert plane.T @ plane == pytest.approx(np.eye(2), abs=1e-12)
        assert inner @ plane == pytest.approx([0.0, 0.0], abs=1e-12)
        assert boresight @ plane[:, 0] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("component", [0, 1])
def test_misfit_is_how_far_a_frame_was_turned_in_the_camera(component: int) -> None:
    # one frame of five not in use, so that the others hold the axis; 1e-3": second order of 20"
    rotations = turned(AXIS, TURNS, CAMERA)
    clean = solved(rotations)
    towards = attitudes_of(rotations).matrices[0].T @ rotations[0].as_matrix()  # sensor -> the fit's camera
    by = Rotation.from_rotvec(towards.T @ clean.planes[0][:, component] * 20 * ARCSEC)
    found = solved(amended(rotations, 3, by), used=[True, True, True, False, True])
    expected = np.zeros((5, 2))
    expected[3, component] = 20.0
    assert separation_arcsec(found.axis, AXIS) < 1e-3
    assert np.abs(found.misfit) / ARCSEC == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("groups", [1, 2])
def test_information_is_the_numeric_fisher_matrix_of_the_stars(groups: int) -> None:
    # stars spread evenly over the sensor, projected with scipy's rotations; 0.1 %: the field is not flat
    rotations, group = two_groups() if groups == 2 else (turned(AXIS, TURNS, CAMERA), [0] * 5)
    grid = even_grid(WIDTH_DEG * DEG, HEIGHT_DEG * DEG, 40, 30)
    stars = np.column_stack([grid, np.ones(len(grid))])
    stars /= np.linalg.norm(stars, axis=-1, keepdims=True)
    sigma = 0.2 * PIXEL_ARCSEC * ARCSEC * np.sqrt(len(grid))
    bound = axis_bound(AXIS, rotations.as_matrix(), np.array(group), [stars] * groups, [sigma] * groups)
    found = np.linalg.inv(solved(rotations, group).information)
    assert found / np.trace(bound) == pytest.approx(bound / np.trace(bound), abs=1e-3)


def test_frames_not_in_use_have_no_say() -> None:
    rotations = noisy(turned(AXIS, TURNS, CAMERA), 1)
    wrong = amended(rotations, 1, Rotation.from_rotvec([0.01, 0.02, 0.0]))
    used = [True, False, True, True, True]
    assert separation_arcsec(solved(wrong, used=used).axis, solved(rotations[[0, 2, 3, 4]]).axis) < 1e-3
    assert separation_arcsec(solved(wrong).axis, AXIS) > 60


def test_a_start_far_away_leads_to_the_same_axis() -> None:
    rotations = noisy(turned(AXIS, TURNS, CAMERA), 2)
    far = Rotation.from_rotvec([0.1, 0.15, -0.1]).apply(AXIS)
    attitudes = attitudes_of(rotations)
    from_far = solve_axis(attitudes, np.zeros(5, dtype=int), np.ones(5, dtype=bool), far)
    assert separation_arcsec(from_far.axis, solved(rotations).axis) < 1e-6


def test_a_boresight_on_the_axis_is_no_special_case() -> None:
    found = solved(turned(AXIS, TURNS, camera_at(AXIS, 0.0)))
    assert separation_arcsec(found.axis, AXIS) < 1e-6
    assert np.isfinite(found.information).all()


def test_halved_shares_weigh_two_equal_frames_as_one() -> None:
    rotations = noisy(turned(AXIS, TURNS, CAMERA), 3)
    doubled = rotations[[0, 1, 2, 3, 4, 4]]
    shares = np.array([1.0, 1.0, 1.0, 1.0, 0.5, 0.5])
    found = solve_axis(
        attitudes_of(doubled), np.zeros(6, dtype=int), np.ones(6, dtype=bool), POLE, shares=shares
    )
    assert separation_arcsec(found.axis, solved(rotations).axis) < 1e-3
    assert found.information == pytest.approx(solved(rotations).information, rel=1e-4)


def test_the_axis_alone_is_that_of_the_whole_solution() -> None:
    rotations, groups = two_groups()
    attitudes = attitudes_of(noisy(rotations, 4))
    whole = solve_axis(attitudes, np.array(groups), np.ones(8, dtype=bool), POLE, roll_ratio=3.0)
    axis, cameras = settled_axis(attitudes, np.array(groups), 1 / attitudes.noise**2, AXIS, 3.0)
    assert separation_arcsec(axis, whole.axis) < 1e-6
    inner = np.einsum("gji,j->gi", whole.cameras, whole.axis)
    assert np.einsum("gji,j->gi", cameras, axis) == pytest.approx(inner, abs=1e-10)
