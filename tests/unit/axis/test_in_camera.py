"""The axis in the camera, carried through turns of the knobs: geometry by scipy's rotations, its noise by theory."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.fit import fit_axis
from polarcheck.axis.in_camera import (
    CameraAxis,
    _pooled,
    axes_alone,
    camera_axis,
    carry_axis,
    foretold_information,
)
from polarcheck.frames import SENSOR_WEIGHTS
from polarcheck.simulate import Camera, camera_directions, sensor_points
from tests.helpers import ARCSEC, DEG, Array, enu, separation_arcsec

CAMERA = Camera(width_px=1200, height_px=900, pixel_scale_arcsec=5.0)
PIXEL = 5.0 * ARCSEC
POINTS = camera_directions(sensor_points(CAMERA), CAMERA)
POINTING = 0.05 * PIXEL
# stars spread evenly over a rectangle stand sqrt((w^2 + h^2) / 12) from its centre, root mean square
ROLL = 0.05 / np.sqrt((1200**2 + 900**2) / 12)
SIDEREAL = 2 * np.pi / 86164.0905  # [rad/s] Explanatory Supplement to the Astronomical Almanac, from memory

both = pytest.mark.parametrize("north", [True, False], ids=["north", "south"])


def axis_at(north: bool) -> Array:
    """An axis 40 arcmin off the pole in azimuth and 25 in altitude at latitude 47 or -31."""
    return enu(40 / 60 * DEG, 47.4 * DEG) if north else enu((180 - 40 / 60) * DEG, 31.4 * DEG)


def about(axis: Array, angle: float) -> Rotation:
    return Rotation.from_rotvec(angle * axis)


def start(axis: Array, from_axis_deg: float = 40.0) -> Rotation:
    """A camera that looks above the axis, turned about its boresight by some angle."""
    up = np.cross(np.cross(axis, [0.0, 0.0, 1.0]), axis)
    up /= np.linalg.norm(up)
    look = np.cos(from_axis_deg * DEG) * axis + np.sin(from_axis_deg * DEG) * up
    right = np.cross(look, axis) / np.linalg.norm(np.cross(look, axis))
    return Rotation.from_matrix(
        np.stack([right, np.cross(look, right), look], axis=-1)
    ) * Rotation.from_euler("z", 0.4)


def westward(axis: Array, angle: float) -> Rotation:
    """Turn with the sky: left-handed about the northern pole, right-handed about the southern one."""
    return about(axis, -angle if axis[1] > 0 else angle)


def sweep(axis: Array, count: int = 6, arc_deg: float = 60.0) -> list[Rotation]:
    return [westward(axis, a * DEG) * start(axis) for a in np.linspace(5, 5 + arc_deg, count)]


def seen(attitudes: list[Rotation], rng: np.random.Generator | None = None) -> Array:
    """Directions of the sensor points, with noise of the stars' places if a generator is given."""
    if rng is not None:
        noise = rng.normal(size=(len(attitudes), 3)) * [POINTING, POINTING, ROLL]
        attitudes = [a * Rotation.from_rotvec(n) for a, n in zip(attitudes, noise, strict=True)]
    return np.stack([a.apply(POINTS) for a in attitudes])


def knobs(base_tilt_deg: float, azimuth_deg: float, altitude_deg: float) -> Rotation:
    """Altitude knob, then azimuth knob, of a base that leans: both pivots lean with it."""
    lean = Rotation.from_euler("xy", [0.8 * base_tilt_deg, 0.6 * base_tilt_deg], degrees=True)
    tilt = Rotation.from_rotvec(altitude_deg * DEG * lean.apply([1.0, 0.0, 0.0]))
    return Rotation.from_rotvec(-azimuth_deg * DEG * lean.apply([0.0, 0.0, 1.0])) * tilt


def measured(axis: Array, frames: Array) -> CameraAxis:
    fit = fit_axis(frames, SENSOR_WEIGHTS, np.full(len(frames), POINTING), axis)
    return camera_axis(fit, len(frames) - 1, PIXEL)


@both
@pytest.mark.parametrize("tracks", [True, False], ids=["tracking", "standing"])
@pytest.mark.parametrize("tilt_deg", [0.0, 2.0])
@pytest.mark.parametrize("slip_deg", [0.0, 1.0, -1.0])
def test_new_axis_is_exact_for_a_leaning_base_and_a_slip(
    north: bool, tracks: bool, tilt_deg: float, slip_deg: float
) -> None:
    axis = axis_at(north)
    attitudes = sweep(axis)
    turn = knobs(tilt_deg, -0.7, 0.5)
    after = turn.apply(axis)
    tracked = SIDEREAL * 180 if tracks else 0.0
    later = westward(after, tracked + slip_deg * DEG) * turn * attitudes[-1]
    known = measured(axis, seen(attitudes))
    found = carry_axis(known, seen([later]), PIXEL)
    assert separation_arcsec(after, axis) > 1000
    assert separation_arcsec(found.axis, after) < 1e-4
    assert known.template @ found.attitudes[0].T == pytest.approx(later.apply(POINTS), abs=1e-9)
    assert found.shape_misfit[0] < 1e-9


@both
def test_knobs_turned_between_two_tracked_frames_give_one_axis_from_both(north: bool) -> None:
    axis = axis_at(north)
    attitudes = sweep(axis)
    turn = knobs(2.0, 1.1, -0.4)
    after = turn.apply(axis)
    later = [westward(after, SIDEREAL * s) * turn * attitudes[-1] for s in (90.0, 400.0, 2500.0)]
    found = carry_axis(measured(axis, seen(attitudes)), seen(later), PIXEL)
    assert separation_arcsec(found.axis, after) < 1e-4
    assert np.all(found.apart < 1e-4 * ARCSEC)


def test_frame_that_moved_in_declination_stands_apart() -> None:
    axis = axis_at(True)
    attitudes = sweep(axis)
    moved = attitudes[-1] * Rotation.from_euler("x", 0.2, degrees=True)
    found = carry_axis(measured(axis, seen(attitudes)), seen([attitudes[-1], attitudes[-1], moved]), PIXEL)
    assert np.argmax(found.apart) == 2
    assert found.apart[2] > 20 * found.apart_sigma[2]


@pytest.mark.parametrize("count", [3, 8])
@pytest.mark.parametrize("seed", range(5))
def test_relief_is_what_leaving_each_frame_out_brings(count: int, seed: int) -> None:
    """Variance times degrees of freedom is the sum of squares; one frame that moved is among them."""
    axis, rng = axis_at(True), np.random.default_rng(seed)
    attitudes = sweep(axis)
    known = measured(axis, seen(attitudes, rng))
    later = [westward(axis, SIDEREAL * 60 * i) * attitudes[-1] for i in range(count)]
    later[seed % count] = later[seed % count] * Rotation.from_euler("x", 0.01, degrees=True)
    frames = seen(later, rng)

    def squares(some: Array) -> float:
        found = carry_axis(known, some, PIXEL)
        return float(found.noise_factor * found.camera.degrees_of_freedom)

    found = carry_axis(known, frames, PIXEL)
    without = [squares(frames) - squares(np.delete(frames, i, axis=0)) for i in range(count)]
    assert found.relief == pytest.approx(without, rel=0.05, abs=0.1)  # each fit has its own tangent planes
    assert int(np.argmax(found.relief)) == int(np.argmax(without))


def test_axes_alone_are_those_of_each_frame_carried_alone() -> None:
    axis, rng = axis_at(False), np.random.default_rng(2)
    attitudes = sweep(axis)
    known = measured(axis, seen(attitudes, rng))
    frames = seen([knobs(1.0, 0.1 * i, 0.2) * attitudes[-1] for i in range(4)], rng)
    axes, misfit = axes_alone(known, frames)
    each = [carry_axis(known, frames[[i]], PIXEL) for i in range(4)]
    assert axes == pytest.approx(np.stack([one.axis for one in each]), abs=1e-12)
    assert misfit == pytest.approx(np.concatenate([one.shape_misfit for one in each]), abs=1e-12)


def test_widened_noise_is_the_standard_error_of_the_scatter() -> None:
    # one of three turned about its boresight by r: 40 deg from the axis that displaces it by 2 sin(r/2) sin(40 deg)
    axis = axis_at(True)
    attitudes = sweep(axis)
    rolled = attitudes[-1] * Rotation.from_euler("z", 0.1, degrees=True)
    found = carry_axis(
        measured(axis, seen(attitudes, np.random.default_rng(3))),
        seen([attitudes[-1], attitudes[-1], rolled]),
        PIXEL,
    )
    off = 2 * np.sin(0.05 * DEG) * np.sin(40 * DEG)
    assert found.apart == pytest.approx([off / 3, off / 3, 2 * off / 3], rel=1e-3)
    squares = off**2 * (1 + 1 + 4) / 9  # of the distances from the mean
    camera_part = found.covariance - found.own
    assert np.trace(found.widened().covariance - camera_part) == pytest.approx(squares / 2 / 3, rel=1e-3)


def test_frames_that_agree_better_than_their_noise_narrow_nothing() -> None:
    axis = axis_at(True)
    attitudes = sweep(axis)
    found = carry_axis(
        measured(axis, seen(attitudes, np.random.default_rng(3))), seen(attitudes[-1:] * 2), PIXEL
    )
    assert found.widened().covariance == pytest.approx(found.covariance)


def plane_at(direction: Array) -> Array:
    """Unit vectors towards growing azimuth and growing altitude, shape (2, 3)."""
    right = np.array([direction[1], -direction[0], 0.0]) / np.hypot(direction[0], direction[1])
    return np.stack([right, np.cross(right, direction)])


def cramer_rao(axis: Array, attitudes: list[Rotation], later: list[Rotation]) -> Array:
    """Least covariance of the later axis, (azimuth times cos altitude, altitude): the inverse of Fisher's information.

    Unknown are the axis before, the camera on the mount, each frame's turn about the axis, the rotation by the
    knobs, and each later frame's turn about the axis after them. What each changes is differenced numerically.
    """
    count = len(attitudes)
    whiten = 1 / np.array([POINTING, POINTING, ROLL])
    plane = plane_at(axis)
    knob, base = later[0] * attitudes[-1].inv(), attitudes[0]
    new = knob.apply(axis)
    angles = [(r * base.inv()).as_rotvec() @ axis for r in attitudes]
    later_angles = [(r * later[0].inv()).as_rotvec() @ new for r in later]

    def model(p: Array) -> tuple[Array, Array]:
        a = Rotation.from_rotvec(p[:2] @ plane).apply(axis)
        camera = base * Rotation.from_rotvec(p[2:5])
        moved = knob * Rotation.from_rotvec(p[5:8])
        turns = angles + np.concatenate([[0.0], p[8 : 7 + count]])
        frames = [about(a, t) * camera for t in turns]
        after, first = moved.apply(a), moved * frames[-1]
        turns = later_angles + np.concatenate([[0.0], p[7 + count :]])
        frames += [about(after, t) * first for t in turns]
        errors = [
            (r.inv() * f).as_rotvec() * whiten for r, f in zip([*attitudes, *later], frames, strict=True)
        ]
        return np.concatenate(errors), after

    size, step = 6 + len(attitudes) + len(later), 1e-6
    ends = [(model(step * row), model(-step * row)) for row in np.eye(size)]
    jacobian = np.stack([(a[0] - b[0]) / (2 * step) for a, b in ends], axis=-1)
    motion = np.stack([(a[1] - b[1]) / (2 * step) for a, b in ends], axis=-1)
    wanted = plane_at(new) @ motion
    return np.asarray(wanted @ np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-13) @ wanted.T)


@both
def test_covariance_is_that_of_the_scatter_and_near_the_least_possible(north: bool) -> None:
    # 200 pulls: their standard deviation has 1/sqrt(400) = 5 % of chance, and 20 % are four of its sigmas
    rng = np.random.default_rng(42)
    axis = axis_at(north)
    attitudes = sweep(axis, count=5)
    turn = knobs(1.5, 0.6, -0.5)
    after = turn.apply(axis)
    later = [westward(after, SIDEREAL * (60 + 40 * i)) * turn * attitudes[-1] for i in range(3)]
    known = [measured(axis, seen(attitudes, rng)) for _ in range(100)]
    for count in (1, 3):
        found = [carry_axis(k, seen(later[:count], rng), PIXEL) for k in known]
        off = np.array([plane_at(after) @ f.axis for f in found])
        said = np.mean([f.covariance for f in found], axis=0)
        squares = np.einsum("ni,ij,nj->n", off, np.linalg.inv(said), off)
        assert np.sqrt(squares.mean() / 2) == pytest.approx(1.0, abs=0.2)
        least = cramer_rao(axis, attitudes, later[:count])
        ratio = np.sqrt(
            np.linalg.eigvals(said @ np.linalg.inv(least)).real
        )  # of the worst and best direction
        assert np.all((ratio > 0.84) & (ratio < 1.3))


@both
def test_frames_at_several_positions_reach_the_least_possible_scatter(north: bool) -> None:
    """The bound is of the joint problem: sweep, knobs and later frames, as `cramer_rao` differences it."""
    rng = np.random.default_rng(7)
    axis = axis_at(north)
    attitudes = sweep(axis, count=5, arc_deg=40.0)
    turn = knobs(1.5, 0.6, -0.5)
    after = turn.apply(axis)
    later = [westward(after, a * DEG) * turn * attitudes[-1] for a in (0.0, -35.0, -80.0)]
    least = cramer_rao(axis, attitudes, later)
    known = [measured(axis, seen(attitudes, rng)) for _ in range(150)]
    found = [carry_axis(k, seen(later, rng), PIXEL) for k in known]
    off = np.array([plane_at(after) @ f.axis for f in found])
    # 150 pairs: the root mean square has 1/sqrt(600) = 4 % of chance
    assert np.sqrt(np.einsum("ni,ij,nj->n", off, np.linalg.inv(least), off).mean() / 2) < 1.1
    said = np.mean([f.covariance for f in found], axis=0)
    assert np.all(np.abs(np.sqrt(np.linalg.eigvals(said @ np.linalg.inv(least)).real) - 1) < 0.12)
    one = cramer_rao(axis, attitudes, later[:1])
    assert np.sqrt(np.trace(least)) < 0.4 * np.sqrt(np.trace(one))


def test_one_frame_gives_the_axis_that_it_carries_and_leaves_the_camera_as_it_was() -> None:
    axis = axis_at(True)
    rng = np.random.default_rng(5)
    attitudes = sweep(axis)
    known = measured(axis, seen(attitudes, rng))
    found = carry_axis(known, seen(attitudes[-1:], rng), PIXEL)
    assert found.axis == pytest.approx(found.attitudes[0] @ known.axis, abs=1e-12)
    assert found.camera.axis == pytest.approx(known.axis, abs=1e-12)
    assert found.camera.covariance == pytest.approx(known.covariance, rel=1e-6, abs=1e-18)
    assert found.camera.noise_px == known.noise_px
    assert found.noise_factor == 1.0


def test_frames_to_come_are_foretold_as_they_turn_out() -> None:
    axis = axis_at(True)
    rng = np.random.default_rng(5)
    attitudes = sweep(axis)
    known = measured(axis, seen(attitudes, rng))
    turns = np.array([0.0, -0.6, -1.1])
    later = [about(axis, t) * attitudes[-1] for t in turns]
    found = carry_axis(known, seen(later, rng), PIXEL)
    before, each = foretold_information(known, axis, turns, PIXEL)
    foretold = np.linalg.inv(before + each.sum(axis=0))[:2, :2]
    assert found.covariance / found.noise_factor == pytest.approx(foretold, rel=0.01)


def test_an_assumed_noise_counts_for_six_degrees_of_freedom_beside_new_frames() -> None:
    """Two new frames have two; where these scatter by chi square 18, the variance is (6 + 18) / (6 + 2)."""
    known: Any = SimpleNamespace(degrees_of_freedom=0)
    new: Any = SimpleNamespace(misfit=np.zeros((2, 2)), chi_square=18.0)
    assert _pooled(known, new) == (3.0, 8)
