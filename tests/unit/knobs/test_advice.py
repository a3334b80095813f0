"""What to do next: turn, frames first, or stop; the cases that a user at the knobs meets, decided by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.alignment import Alignment
from polarcheck.axis import CameraAxis, MountLimits, Reach
from polarcheck.frames import SENSOR_WEIGHTS, Sensor
from polarcheck.knobs import Correction, Wish, correct_knobs
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement.source import given_alignment
from polarcheck.simulate import Camera, camera_directions, mount_attitudes, sensor_points
from polarcheck.site import Site
from polarcheck.sky import Sky
from tests.helpers import ARCSEC, DEG

ARCMIN = 60 * ARCSEC
NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
CAMERA = Camera(width_px=1280, height_px=960, pixel_scale_arcsec=4.8)
KNOB = KnobSpec(gain=50.0)


def standing(
    error: tuple[float, float],
    sigma_arcmin: float,
    site: Site = NORTH,
    noise_px: float = 0.2,
    angle_deg: float = 30.0,
) -> Alignment:
    """An alignment with a camera that looks 55 deg from the axis."""
    given = given_alignment(error, Sky.over(site))
    north = site.is_north
    attitude = mount_attitudes(
        given.axis, north, np.array([angle_deg]) * DEG, (35 if north else -35) * DEG, 0.3
    )
    inner = attitude[0].T @ given.axis
    across = np.eye(3) - np.outer(inner, inner)
    camera = CameraAxis(
        template=camera_directions(sensor_points(CAMERA), CAMERA),
        weights=SENSOR_WEIGHTS,
        axis=inner,
        covariance=across * (0.05 * ARCMIN) ** 2,
        attitude=attitude[0],
        noise_px=noise_px,
        roll_ratio=1.0,
        degrees_of_freedom=8,
    )
    sensor = Sensor(CAMERA.width_px, CAMERA.height_px, CAMERA.pixel_scale_arcsec, mirrored=False)
    covariance = np.eye(2) * (sigma_arcmin * ARCMIN) ** 2
    return replace(given, covariance=covariance, camera=camera, sensor=sensor)


def asked(error: tuple[float, float], sigma: float, wish: Wish = Wish(), **more: object) -> Correction:  # noqa: B008
    return correct_knobs(standing(error, sigma, **more), (KNOB, KNOB), wish)  # type: ignore[arg-type]


def test_large_error_is_turned_and_frames_follow() -> None:
    correction = asked((60.0, -40.0), 0.3)
    assert (correction.next.action, correction.next.reason) == ("turn", "turn")
    assert all(move.turns for move in correction.moves)
    assert correction.next.expected_left_arcmin == pytest.approx(
        np.hypot(0.15 * 60 * np.cos(47.3 * DEG), 0.15 * 40), rel=0.3
    )
    assert len(correction.next.frames_deg) >= 1


def test_error_as_large_as_its_sigma_asks_for_frames_and_turns_no_knob() -> None:
    """1.1 +- 1.1: today's fault was a turn that took the true error from 1.3 to 4.9."""
    correction = asked((0.8, 0.8), 0.8)
    assert (correction.next.action, correction.next.reason) == ("frames", "frames first")
    assert not correction.worth_turning
    assert len(correction.next.frames_deg) >= 2
    assert correction.next.expected_sigma_arcmin is not None
    assert correction.next.expected_sigma_arcmin < 0.3


def test_error_within_the_goal_stops() -> None:
    correction = asked((0.1, 0.2), 0.05)
    assert (correction.next.action, correction.next.reason) == ("stop", "near enough")
    assert correction.next.frames_deg == ()


@pytest.mark.parametrize(("goal", "action"), [(0.1, "turn"), (5.0, "stop")])
def test_goal_that_is_said_decides(goal: float, action: str) -> None:
    correction = asked((2.0, 2.0), 0.05, Wish(goal_arcmin=goal))
    assert correction.next.action == action
    assert (correction.goal.arcmin, correction.goal.source) == (goal, "asked")


def test_wanted_exposure_is_the_goal_and_one_that_no_axis_allows_is_said() -> None:
    allowed = asked((2.0, 2.0), 0.05, Wish(tolerance_arcmin=4.0))
    assert (allowed.next.reason, allowed.goal.source) == ("near enough", "target")
    vain = asked((2.0, 2.0), 0.05, Wish(tolerance_arcmin=0.0))
    assert vain.goal.arcmin == 0.5
    assert "no axis allows the wanted exposure" in vain.why


def test_knob_whose_move_is_not_clear_of_its_sigma_is_left_alone() -> None:
    correction = asked((30.0, 0.4), 0.3)
    altitude, azimuth = correction.moves
    assert (altitude.turns, altitude.why_idle) == (0.0, "noise")
    assert azimuth.turns


@pytest.mark.parametrize("seed", range(40))
def test_no_knob_is_ever_turned_for_less_than_its_sigma(seed: int) -> None:
    rng = np.random.default_rng(seed)
    error = tuple(rng.normal(size=2) * 10 ** rng.uniform(-1, 1))
    correction = asked(error, float(10 ** rng.uniform(-1.5, 0.5)))  # type: ignore[arg-type]
    for move in correction.moves:
        assert not move.turns or abs(move.move_arcmin) > move.sigma_arcmin


def test_wide_play_does_not_keep_a_large_error_but_a_small_one() -> None:
    """One turn of play at 50 arcmin a turn: the first turn leaves 15, and teaches where the knob stands."""
    wide = KnobSpec(gain=50.0, backlash_turns=1.0)
    assert correct_knobs(given_alignment((23.0, -12.0), Sky.over(NORTH)), (wide, wide)).worth_turning
    small = correct_knobs(given_alignment((0.0, 0.7), Sky.over(NORTH)), (wide, wide))
    assert (small.next.action, small.next.reason) == ("stop", "hand")
    assert all(move.is_idle for move in small.moves)


def test_error_without_frames_asks_for_none() -> None:
    correction = correct_knobs(given_alignment((20.0, 10.0), Sky.over(NORTH)), (KNOB, KNOB))
    assert (correction.next.action, correction.next.frames_deg) == ("turn", ())
    assert correction.next.expected_sigma_arcmin is None


@pytest.mark.parametrize("site", [NORTH, SOUTH], ids=["north", "south"])
@pytest.mark.parametrize("angle_deg", [5.0, 40.0, 75.0, -20.0, -70.0])
def test_frames_lie_above_15_deg_and_on_one_side_of_the_pier(site: Site, angle_deg: float) -> None:
    alignment = standing((0.8, 0.8), 0.8, site, angle_deg=angle_deg)
    correction = correct_knobs(alignment, (KNOB, KNOB))
    turns = np.array(correction.next.frames_deg)
    assert len(turns) >= 2
    # the axis angle grows westward; the altitude is that of the spherical triangle of pole, zenith and target
    there = (angle_deg + turns) * DEG
    latitude, declination = abs(site.latitude_deg) * DEG, 35 * DEG
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(there)
    assert np.all(np.degrees(np.arcsin(sine)) > 15)
    assert np.all(np.sign(there) * np.sign(angle_deg) >= 0)


def test_limits_of_the_rig_file_hold() -> None:
    narrow = Wish(reach=Reach(limits=MountLimits(turns=(20 * DEG, 50 * DEG))))
    turns = np.array(asked((0.8, 0.8), 0.8, narrow, angle_deg=30.0).next.frames_deg)
    assert np.all((30 + turns >= 20 - 1e-6) & (30 + turns <= 50 + 1e-6))
    assert np.ptp(turns) > 15
