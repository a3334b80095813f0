"""The next frame: as good as refits say, and within reach from where the mount stands."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis import Horizon, MountLimits, Reach, axis_angle, best_next_frame, reachable_turns
from tests.helpers import DEG, altitude_of, enu, separation_arcsec
from tests.rigid_mount import AXIS, POLE, Array, camera_at, turned
from tests.unit.axis.test_fit import SOUTHERN_AXIS, SOUTHERN_POLE, fitted

CAMERA = camera_at(AXIS, 40.0)
BOTH = pytest.mark.parametrize(
    ("axis", "pole", "north"), [(AXIS, POLE, True), (SOUTHERN_AXIS, SOUTHERN_POLE, False)]
)
FORK = MountLimits(past_meridian=np.pi, arc=2 * np.pi)


def westward(axis: Array, north: bool, turns: list[float]) -> tuple[list[float], float]:
    """Right-handed turns for westward ones, and the axis angle of turn zero. [deg]"""
    look = camera_at(axis, 40.0).apply([0.0, 0.0, 1.0])
    return [-turn if north else turn for turn in turns], float(axis_angle(axis, look, north)) / DEG


@BOTH
def test_next_frame_is_as_good_as_any_that_a_refit_finds(axis: Array, pole: Array, north: bool) -> None:
    hands, _ = westward(axis, north, [-20.0, 15.0, 0.0])
    camera, sense = camera_at(axis, 40.0), -1.0 if north else 1.0
    found = fitted(turned(axis, np.array(hands), camera), pole)
    best = best_next_frame(found, north, Reach(limits=FORK))
    assert best is not None
    sigmas = {}
    for turn in range(-180, 181, 5):
        rotations = turned(axis, np.append(hands, sense * turn), camera)
        if altitude_of(rotations[-1].apply([0.0, 0.0, 1.0])) > 15 * DEG:
            info = fitted(rotations, pole).solution.information
            sigmas[turn] = 1 / np.sqrt(np.linalg.eigvalsh(info)[0])
    least = min(sigmas.values())
    turn = round(best.turn / DEG)
    # a shorter turn is taken where it is as good within 3 %; 1e-4 for the fit's own noise weights
    assert best.sigma_then / found.noise == pytest.approx(sigmas[turn], rel=1e-4)
    assert sigmas[turn] <= 1.03 * least
    assert all(sigmas[other] > 1.029 * least for other in sigmas if abs(other) < abs(turn))
    now = 1 / np.sqrt(np.linalg.eigvalsh(found.solution.information)[0])
    assert best.sigma_now / found.noise == pytest.approx(now, rel=1e-9)
    assert best.sigma_then < 0.5 * best.sigma_now


@BOTH
def test_turn_leads_to_the_direction_and_the_axis_angle_that_are_told(
    axis: Array, pole: Array, north: bool
) -> None:
    hands, start = westward(axis, north, [0.0, 10.0, 20.0])
    camera = camera_at(axis, 40.0)
    best = best_next_frame(fitted(turned(axis, hands, camera), pole), north)
    assert best is not None
    assert best.axis_angle / DEG == pytest.approx(start + 20.0 + best.turn / DEG, abs=1e-6)
    sense = -1.0 if north else 1.0
    there = turned(axis, [hands[-1] + sense * best.turn / DEG], camera)[0].apply([0.0, 0.0, 1.0])
    assert separation_arcsec(there, best.direction) < 0.01


@BOTH
def test_next_frame_stays_on_the_side_of_the_meridian_that_the_frames_show(
    axis: Array, pole: Array, north: bool
) -> None:
    _, start = westward(axis, north, [0.0])
    for side in (-1, 1):
        hands, _ = westward(axis, north, [side * 20 - start, side * 35 - start, side * 50 - start])
        best = best_next_frame(fitted(turned(axis, hands, camera_at(axis, 40.0)), pole), north)
        assert best is not None
        assert side * best.axis_angle > -1e-9


def test_next_frame_is_not_looked_for_below_the_horizon_or_the_lowest_altitude() -> None:
    found = fitted(turned(AXIS, [-20.0, 0.0, 15.0], CAMERA))
    assert best_next_frame(found, True, Reach(lowest=88 * DEG)) is None
    free = best_next_frame(found, True)
    assert free is not None
    azimuth = float(np.arctan2(free.direction[0], free.direction[1]) / DEG) % 360
    house = Horizon(
        np.array([0, azimuth - 20, azimuth - 19, azimuth + 19, azimuth + 20]) * DEG,
        np.array([0.0, 0.0, 85, 85, 0]) * DEG,
    )
    other = best_next_frame(found, True, Reach(horizon=house))
    assert other is not None
    assert separation_arcsec(other.direction, free.direction) > 3600
    assert altitude_of(other.direction) > house.altitude(np.arctan2(other.direction[0], other.direction[1]))


def test_sun_is_kept_away_from() -> None:
    found = fitted(turned(AXIS, [-20.0, 0.0, 15.0], CAMERA))
    free = best_next_frame(found, True)
    assert free is not None
    other = best_next_frame(found, True, Reach(avoided=((free.direction, 30 * DEG),)))
    assert other is not None
    assert separation_arcsec(other.direction, free.direction) > 30 * 3600


def test_arc_of_one_sweep_is_kept_to() -> None:
    found = fitted(turned(AXIS, [-20.0, 0.0, 15.0], CAMERA))
    best = best_next_frame(found, True, Reach(limits=MountLimits(np.pi, arc=50 * DEG)))
    assert best is not None
    # right-handed turns -20, 0, 15 with the mount at 15: westward is negative; 50 deg in all
    assert -15 - 1e-6 <= best.turn / DEG <= 50 + 1e-6


def test_turns_of_less_than_five_degrees_are_not_proposed() -> None:
    """Nobody sets a circle finer than that in the dark (common practice, no source)."""
    turns = np.array([-6.0, -4.0, 0.0, 4.0, 6.0]) * DEG
    pointing = np.broadcast_to(enu(180 * DEG, 60 * DEG), (5, 3))
    found = reachable_turns(Reach(limits=FORK), turns, pointing, 0.0, np.zeros(1))
    assert found.tolist() == [True, False, False, False, True]
