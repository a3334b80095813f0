"""Frames of a mount that tracks, stands, is turned at a knob or slewed: what the field tells of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.frames import Frame
from polarcheck.times import add_seconds
from polarcheck.vectors import rotation_matrix
from polarcheck.watch.standing import Standing
from tests.at_the_mount import AtTheMount
from tests.unit.watch.test_fields import across as side
from tests.unit.watch.test_fields import first


@pytest.fixture
def mount(tmp_path: Path) -> AtTheMount:
    return AtTheMount(tmp_path)


@pytest.fixture
def standing(mount: AtTheMount) -> Standing:
    standing = Standing()
    for _ in range(3):
        standing.add(mount.shoot(8))
    return standing


def test_mount_that_tracks_stands(standing: Standing) -> None:
    assert standing.is_still
    assert len(standing.run) == 3


def test_mount_that_does_not_track_stands_too(mount: AtTheMount, standing: Standing) -> None:
    mount.night.turn_west(-SIDEREAL_RATE * 8)  # what tracking would have done
    standing.add(mount.shoot(8))
    assert standing.is_still


@pytest.mark.parametrize("turns", [(0.4, 0.0), (0.0, 0.05), (-0.5, 0.0), (0.0, 1.0)])
def test_turn_of_a_knob_beyond_its_play_is_felt(
    mount: AtTheMount, standing: Standing, turns: tuple[float, float]
) -> None:
    before = mount.night.utc
    take_up = tuple(0.13 if turn > 0 else -0.13 if turn < 0 else 0.0 for turn in turns)
    mount.turn(*(turn + play for turn, play in zip(turns, take_up, strict=True)))
    standing.add(mount.shoot(8), axis_deg=0.5)
    assert not standing.is_still
    assert not standing.is_slewed
    standing.add(mount.shoot(8), axis_deg=0.5)
    assert len(standing.run) == 2
    assert not standing.stands_since(before)


def test_slew_in_right_ascension_is_no_turn_of_a_knob(mount: AtTheMount, standing: Standing) -> None:
    mount.further(15)
    standing.add(mount.shoot(8))
    assert not standing.is_still
    assert standing.is_slewed


def test_frame_solved_wrongly_between_breaks_nothing(mount: AtTheMount, standing: Standing) -> None:
    standing.add(mount.shoot(8, wrong=True))
    assert not standing.is_still
    standing.add(mount.shoot(8))
    assert len(standing.run) == 4


def test_camera_runs_while_exposures_follow_each_other(mount: AtTheMount) -> None:
    standing = Standing()
    standing.add(mount.shoot(60))
    standing.add(mount.shoot(60))  # 55 s without an exposure
    assert not standing.is_running
    standing.add(mount.shoot(8))
    assert not standing.is_running  # once: by chance, or by a clock that was set back
    standing.add(mount.shoot(8))
    assert standing.is_running
    mount.night.wait(8)
    standing.note(mount.night.utc)  # blurred by the turn: nobody solves it
    standing.add(mount.shoot(8))
    assert standing.is_running
    standing.add(mount.shoot(200))
    assert not standing.is_running


def test_roll_alone_moves_a_field_beside_the_zenith_too(mount: AtTheMount, standing: Standing) -> None:
    look = mount.night.attitude[:, 2]
    mount.night.attitude = rotation_matrix(look, 0.5 * DEGREE) @ mount.night.attitude
    standing.add(mount.shoot(8))
    assert not standing.is_still


# the limits, on frames whose field was turned by hand: across is in declination, along is in right ascension


def shifted(seconds: float, along: float = 0.0, across: float = 0.0, scale_arcsec: float = 2.0) -> Frame:
    """The first frame of a sweep, some time later, its field moved on the sky. [arcsec]"""
    middle = first().sky.mean(axis=0)
    cosine = float(np.hypot(middle[0], middle[1]) / np.linalg.norm(middle))
    turn = Rotation.from_rotvec(-across * ARCSEC * side()) * Rotation.from_rotvec(
        [0, 0, along * ARCSEC / cosine]
    )
    utc = add_seconds(first().utc, seconds)
    return replace(first(), sky=turn.apply(first().sky), utc=utc, pixel_scale_arcsec=scale_arcsec)


def stands(*frames: Frame, axis_deg: float | None = 0.0) -> Standing:
    standing = Standing()
    for frame in frames:
        standing.add(frame, axis_deg)
    return standing


@pytest.mark.parametrize(
    ("seconds", "across", "scale_arcsec", "is_still"),
    [
        (1.0, 5.5, 2.0, True),
        (1.0, 7.0, 2.0, False),
        (1.0, 18.0, 20.0, True),
        (1.0, 22.0, 20.0, False),
        (200.0, 14.0, 2.0, True),
        (200.0, 18.0, 2.0, False),
    ],
)
def test_pointings_differ_by_a_pixel_or_six_arcsec_and_a_tripod_settles(
    seconds: float, across: float, scale_arcsec: float, is_still: bool
) -> None:
    """Six arcsec are seeing and a solver's noise, three a minute a tripod's (common practice, no source)."""
    pair = shifted(0.0, scale_arcsec=scale_arcsec), shifted(seconds, 0.0, across, scale_arcsec)
    assert stands(*pair).is_still is is_still


@pytest.mark.parametrize(("across", "is_still"), [(30.0, True), (36.0, False)])
def test_while_nothing_is_known_the_axis_may_be_five_degrees_off(across: float, is_still: bool) -> None:
    """A field drifts by 15.04 arcsec a second times the sine of that, 26 arcsec in 20 s; 7 more are allowed."""
    assert stands(shifted(0.0), shifted(20.0, across=across), axis_deg=None).is_still is is_still


@pytest.mark.parametrize(("along", "is_still"), [(60.0, True), (72.0, False)])
def test_a_worm_may_be_half_a_minute_of_arc_off_and_more(along: float, is_still: bool) -> None:
    """0.6 arcsec a second over 100 s, and the six of any two frames."""
    assert stands(shifted(0.0), shifted(100.0, along=along)).is_still is is_still


@pytest.mark.parametrize(("arcmin", "is_still"), [(8.0, True), (12.0, False)])
def test_a_pixel_at_the_edge_is_no_turn_of_the_field(arcmin: float, is_still: bool) -> None:
    """Stars stand 433 px from the middle of 1200 x 900 px (root mean square): 1/433 rad are 7.9 arcmin, and 2 more."""
    middle = first().sky.mean(axis=0)
    turn = Rotation.from_rotvec(arcmin * 60 * ARCSEC * middle / np.linalg.norm(middle))
    rolled = replace(shifted(1.0), sky=turn.apply(first().sky))
    assert stands(shifted(0.0), rolled).is_still is is_still


@pytest.mark.parametrize(("seconds", "is_still"), [(290.0, True), (310.0, False)])
def test_frames_five_minutes_apart_tell_that_nothing_moved(seconds: float, is_still: bool) -> None:
    """In more a knob can be turned there and back (common practice, no source)."""
    assert stands(shifted(0.0), shifted(seconds)).is_still is is_still


@pytest.mark.parametrize(("wrong", "is_still"), [(2, True), (3, False)])
def test_of_three_frames_two_may_be_solved_wrongly(wrong: int, is_still: bool) -> None:
    strays = [shifted(10.0 * k, across=5000.0 * k) for k in range(1, wrong + 1)]
    assert stands(shifted(0.0), *strays, shifted(60.0)).is_still is is_still


@pytest.mark.parametrize(("turn_deg", "is_slewed"), [(0.8, False), (1.2, True)])
def test_no_knob_turns_a_field_by_a_degree_about_the_pole(turn_deg: float, is_slewed: bool) -> None:
    """Of an axis a degree off the pole a turn does so near the pole alone (common practice, no source)."""
    turn = Rotation.from_rotvec([0.0, 0.0, np.radians(turn_deg)])
    slewed = replace(shifted(10.0), sky=turn.apply(first().sky))
    standing = stands(shifted(0.0), slewed)
    assert not standing.is_still
    assert standing.is_slewed is is_slewed


def test_a_dozen_frames_of_a_run_are_remembered() -> None:
    """More would not be looked at together after a turn."""
    run = stands(*(shifted(10.0 * k) for k in range(30))).run
    assert 10 <= len(run) <= 16
    assert run[-1].utc == shifted(290.0).utc


@pytest.mark.parametrize(("apart_s", "is_running"), [(39.0, True), (41.0, False)])
def test_hands_need_ten_seconds_without_an_exposure(apart_s: float, is_running: bool) -> None:
    """Between exposures of 30 s; common practice, no source."""
    standing = Standing()
    for seconds in (0.0, apart_s, 2 * apart_s):
        standing.note(add_seconds(first().utc, seconds), 30.0)
    assert standing.is_running is is_running


@pytest.mark.parametrize(("later_s", "is_running"), [(35.0, True), (45.0, False)])
def test_a_camera_stopped_that_missed_four_exposures_and_twenty_seconds(
    later_s: float, is_running: bool
) -> None:
    """With one every 5 s after 40 s: a solver needs as long for a blurred frame (common practice, no source)."""
    standing = Standing()
    for seconds in (0.0, 5.0, 10.0, 10.0 + later_s):
        standing.note(add_seconds(first().utc, seconds), 4.0)
    assert standing.is_running is is_running
