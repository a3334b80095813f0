"""Frames of a mount that tracks, stands, is turned at a knob or slewed: what the field tells of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.constants import DEGREE, SIDEREAL_RATE
from polarcheck.vectors import rotation_matrix
from polarcheck.watch.standing import Standing
from tests.at_the_mount import AtTheMount


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
