"""Which frames of a tracked sequence stand out, and where it breaks: on turns without noise, all else by construction."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.course import Track
from polarcheck.axis.polar import polar_places
from polarcheck.axis.sorting import Sorted, sorted_frames
from tests.helpers import ARCSEC, Array
from tests.rigid_mount import AXIS, WEIGHTS, camera_at, seen_by, turned

CAMERA = camera_at(AXIS, 40.0)


def attitudes_of(slips: Array, noise: float, rolls: Mapping[int, float]) -> Attitudes:
    """Frames a quarter of a degree apart, each slipped in declination and rolled, in units of its noise."""
    count = len(slips)
    rotations = turned(AXIS, np.linspace(-count / 8, count / 8, count), CAMERA)
    about = np.cross(rotations.apply([0.0, 0.0, 1.0]), AXIS)
    about /= np.linalg.norm(about, axis=-1, keepdims=True)
    rotations = Rotation.from_rotvec(about * (noise * slips)[:, None]) * rotations
    plain = camera_attitudes(seen_by(rotations), WEIGHTS, np.zeros(count, dtype=int), np.full(count, noise))
    places = polar_places(plain, AXIS)
    roll = np.zeros((count, 3))
    for k, size in rolls.items():
        roll[k, 2] = size * noise * np.sqrt(places.variances[k, 1]) / np.sin(places.distance[k])
    seen = seen_by(rotations * Rotation.from_rotvec(roll))
    return camera_attitudes(seen, WEIGHTS, np.zeros(count, dtype=int), np.full(count, noise))


def told(slips: Array, noise: float = ARCSEC, rolls: Mapping[int, float] | None = None) -> Sorted:
    count = len(slips)
    track = Track(np.zeros(count, dtype=int), 60.0 * np.arange(count), np.zeros((count, 2)))
    return sorted_frames(attitudes_of(slips, noise, rolls or {}), track, AXIS)


def left_out(slips: Array, noise: float = ARCSEC, rolls: Mapping[int, float] | None = None) -> list[int]:
    return np.flatnonzero(~told(slips, noise, rolls).used).tolist()


def slipped(count: int, **by: float) -> Array:
    slips = np.zeros(count)
    for name, size in by.items():
        slips[int(name[1:])] = size
    return slips


@pytest.mark.parametrize(("count", "out"), [(19, [6]), (20, [])])
def test_under_twenty_frames_each_is_judged_by_a_fit_without_it(count: int, out: list[int]) -> None:
    """It takes 6 + 40 / 15 sigmas then, 8 + 60 / 20 of twenty frames' unrest: 10.5 lie between, less what a fit takes."""
    assert left_out(slipped(count, f6=10.5)) == out


@pytest.mark.parametrize(("count", "out"), [(7, [3]), (6, [])])
def test_three_degrees_of_freedom_tell_a_wrong_frame(count: int, out: list[int]) -> None:
    """Of seven frames three go to axis and declination, and one is the frame itself."""
    assert left_out(slipped(count, f3=1000.0)) == out


@pytest.mark.parametrize(("sigmas", "out"), [(0.8, []), (1.2, [6])])
def test_roll_is_judged_down_to_a_tenth_of_its_noise(sigmas: float, out: list[int]) -> None:
    """Where all others are so quiet, a tenth of it is the unit: 8.7 and some of them stand out."""
    assert left_out(np.zeros(19), rolls={6: sigmas}) == out


def test_six_steps_are_looked_for_and_not_a_seventh() -> None:
    """What steps more often is no mount to be measured (common practice, no source)."""
    steps = np.repeat([0.0, 60.0, -30.0, 90.0, 10.0, 120.0, 40.0, -50.0], 30)
    assert len(told(steps[:150]).breaks) == 4
    assert len(told(steps).breaks) == 6


def test_frames_that_stand_out_alike_are_left_out_together() -> None:
    """Thirty clouded frames of a hundred: more than would go one by one."""
    slips = np.zeros(100)
    slips[2:92:3] = 5000.0
    assert left_out(slips) == list(range(2, 92, 3))


def test_frames_that_hide_behind_worse_ones_are_found_a_dozen_times() -> None:
    """Each shows when the one before is gone; where more do, no frame says which the good ones are."""
    slips = np.zeros(90)
    slips[5:83:3] = 14.0 * 2.4 ** np.arange(26)
    assert left_out(slips, noise=1e-8 * ARCSEC) == list(range(47, 83, 3))
