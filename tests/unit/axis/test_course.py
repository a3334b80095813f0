"""Which frames followed a field."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis.attitudes import camera_attitudes
from polarcheck.axis.course import Course, Track, followed_fields
from polarcheck.constants import ARCSEC
from polarcheck.frames import SENSOR_WEIGHTS, FrameSet
from polarcheck.sky import Sky
from tests.benchmarks.mounts import Scene, Sweep, tracked_hour
from tests.benchmarks.mounts import frames_of as scene_frames
from tests.benchmarks.tracked_mounts import Session, frames_of


def track_of(frames: FrameSet) -> Track | None:
    site = frames.frames[0].site
    assert site is not None
    icrs, utc = np.array([f.sky for f in frames.frames]), np.array([f.utc for f in frames.frames])
    seen = Sky.over(site).observed(icrs, utc)
    count = len(icrs)
    attitudes = camera_attitudes(seen, SENSOR_WEIGHTS, np.zeros(count, dtype=int), np.full(count, ARCSEC))
    return followed_fields(attitudes, Course((utc - utc[0]).sum(axis=-1) * 86400, icrs))


def drawn(scene: Scene) -> FrameSet:
    return scene_frames(scene, np.random.default_rng(1))


@pytest.mark.parametrize(
    "angles", [(5.0, 30.0, 60.0), tuple(np.linspace(0, 10, 15)), tuple(np.linspace(-60, 60, 24))]
)
def test_a_sweep_follows_nothing(angles: tuple[float, ...]) -> None:
    assert track_of(drawn(Scene([Sweep(angles)]))) is None


def test_a_sweep_of_bursts_follows_nothing() -> None:
    angles = tuple(a + b for a in (0.0, 20.0, 40.0, 60.0) for b in np.arange(6) * 40 / 240)
    assert track_of(drawn(Scene([Sweep(angles)]))) is None


def test_a_mount_that_stands_still_follows_nothing() -> None:
    assert track_of(drawn(Scene([Sweep((20.0,) * 8)], cadence_s=360.0))) is None


def test_a_tracked_hour_is_one_field() -> None:
    track = track_of(drawn(Scene([Sweep(tracked_hour(20.0))], cadence_s=360.0)))
    assert track is not None
    assert track.groups.tolist() == [0] * 11


def test_the_other_pier_side_is_another_group() -> None:
    session = Session(hours=4.0, frames=20, guided=True, flip=True, start_deg=-35.0)
    track = track_of(frames_of(session, np.random.default_rng(1)))
    assert track is not None
    assert track.groups.tolist() == [0] * 10 + [1] * 10


def test_a_frame_solved_elsewhere_breaks_no_field() -> None:
    frames = drawn(Scene([Sweep(tracked_hour(20.0))], cadence_s=360.0, wrong=[(4, 3600.0)]))
    track = track_of(frames)
    assert track is not None
    assert track.groups.tolist() == [0] * 4 + [-1] + [0] * 6


def test_without_places_nothing_is_known() -> None:
    seen = np.broadcast_to(np.eye(3), (2, 3, 3))
    attitudes = camera_attitudes(seen, np.full(3, 1 / 3), np.zeros(2, dtype=int), np.full(2, ARCSEC))
    assert followed_fields(attitudes, Course(np.array([0.0, 60.0]))) is None
