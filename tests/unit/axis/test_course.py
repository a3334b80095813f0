"""Which frames followed a field."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

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


NODES = np.array([[x, y, 1.0] for x in (-0.01, 0.01) for y in (-0.01, 0.01)])


def looking(
    right_ascensions_deg: list[float],
    every_s: float,
    rolls_deg: list[float] | None = None,
    declinations_deg: list[float] | None = None,
) -> list[int] | None:
    """The fields followed by frames near the celestial equator."""
    count = len(right_ascensions_deg)
    still = [0.0] * count
    turns = Rotation.from_euler(
        "YXZ",
        np.stack([rolls_deg or still, declinations_deg or still, right_ascensions_deg], axis=-1)[:, ::-1],
        degrees=True,
    )
    nodes = NODES / np.linalg.norm(NODES, axis=-1, keepdims=True)
    sky = np.array([turn.apply(nodes) for turn in turns])
    attitudes = camera_attitudes(sky, np.full(4, 0.25), np.zeros(count, dtype=int), np.full(count, ARCSEC))
    track = followed_fields(attitudes, Course(every_s * np.arange(count), sky))
    return None if track is None else track.groups.tolist()


@pytest.mark.parametrize(
    ("every_s", "shift_deg", "follows"),
    [(60.0, 0.19, True), (60.0, 0.21, False), (1200.0, 1.1, True), (1200.0, 1.2, False)],
)
def test_between_frames_a_field_may_move_by_dithering_and_a_fifth_of_the_sky(
    every_s: float, shift_deg: float, follows: bool
) -> None:
    """0.15 deg, and a fifth of 15.04 arcsec a second: 0.20 deg in a minute, 1.15 in twenty (common practice, no source)."""
    assert looking([0.0, shift_deg] * 4, every_s) == ([0] * 8 if follows else None)


@pytest.mark.parametrize(("roll_deg", "second"), [(2.5, 0), (3.5, 1)])
def test_a_camera_turned_by_more_than_three_degrees_begins_another_field(
    roll_deg: float, second: int
) -> None:
    assert looking([0.0] * 12, 60.0, [0.0] * 6 + [roll_deg] * 6) == [0] * 6 + [second] * 6


def test_a_field_is_taken_up_again_after_three_others_and_not_after_four() -> None:
    places = ((0.0, 0.0), (1.2, 0.0), (1.2, 1.2), (0.0, 1.2), (-1.2, 1.2))
    for fields, numbers in (((0, 1, 2, 3, 0), (0, 1, 2, 3, 0)), ((0, 1, 2, 3, 4, 0), (0, 1, 2, 3, 4, 5))):
        visited = [places[field] for field in fields for _ in range(6)]
        found = looking([place[0] for place in visited], 60.0, None, [place[1] for place in visited])
        assert found == [number for number in numbers for _ in range(6)]


def test_three_frames_make_a_field_and_two_are_strays() -> None:
    assert looking([0.0] * 12 + [1.0] * 3, 60.0) == [0] * 12 + [1] * 3
    assert looking([0.0] * 12 + [1.0] * 2, 60.0) == [0] * 12 + [-1] * 2


@pytest.mark.parametrize(("strays", "follows"), [(4, True), (5, False)])
def test_a_fifth_of_the_frames_may_be_strays(strays: int, follows: bool) -> None:
    held = 20 - strays
    groups = [0] * held + [-1] * strays
    assert looking([0.0] * held + [1.0 + k for k in range(strays)], 60.0) == (groups if follows else None)


@pytest.mark.parametrize(("apart_deg", "follows"), [(0.9, True), (1.1, False)])
def test_a_mount_that_slews_more_than_it_tracks_does_not_track(apart_deg: float, follows: bool) -> None:
    """Twice three frames a minute apart: four minutes of tracking, in which the sky turns by one degree."""
    assert looking([0.0] * 3 + [apart_deg] * 3, 60.0) == ([0] * 3 + [1] * 3 if follows else None)
