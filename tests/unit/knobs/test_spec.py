"""Knobs of a rig file as signed gains: worked figures and handedness."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from polarcheck.knobs.correction import correct_knobs
from polarcheck.knobs.expected import expected_move
from polarcheck.knobs.spec import knob_specs
from polarcheck.measurement.source import given_alignment
from polarcheck.rig.file import Rig, read_rig
from polarcheck.site import Site
from polarcheck.sky.observed import Sky
from tests.knob_nights import night

NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
SCREW = "thread_pitch_mm = 1.25\nlever_mm = 70.0\n"  # M8 at 70 mm


def rig(folder: Path, azimuth: str = "", altitude: str = "") -> Rig:
    path = folder / "rig.toml"
    path.write_text(f"[mount.azimuth]\n{azimuth}\n[mount.altitude]\n{altitude}\n", encoding="utf-8")
    return read_rig(path)


@pytest.mark.parametrize(
    ("site", "way", "sign"),
    [(NORTH, "east", 1), (NORTH, "west", -1), (SOUTH, "east", -1), (SOUTH, "west", 1)],
)
def test_clockwise_east_is_growing_azimuth_in_the_north_only(
    tmp_path: Path, site: Site, way: str, sign: int
) -> None:
    azimuth, _ = knob_specs(rig(tmp_path, f'arcmin_per_turn = 50\nclockwise_moves = "{way}"'), site.is_north)
    assert azimuth.gain == sign * 50.0


@pytest.mark.parametrize(("way", "sign"), [("up", 1), ("down", -1)])
@pytest.mark.parametrize("north", [True, False])
def test_clockwise_up_raises_the_axis_in_both_hemispheres(
    tmp_path: Path, way: str, sign: int, north: bool
) -> None:
    _, altitude = knob_specs(
        rig(tmp_path, altitude=f'arcmin_per_turn = 50\nclockwise_moves = "{way}"'), north
    )
    assert altitude.gain == sign * 50.0


def test_turn_of_a_screw_by_its_thread_and_lever(tmp_path: Path) -> None:
    # atan(x) = x - x^3/3 with x = 1.25/70: 0.0178552 rad = 61.3818 arcmin, by hand
    azimuth, altitude = knob_specs(rig(tmp_path, SCREW + 'clockwise_moves = "east"', SCREW), True)
    assert azimuth.gain == pytest.approx(61.3818, abs=0.001)
    assert altitude.gain is None  # which way is not said
    assert altitude.size == pytest.approx(61.3818, abs=0.001)


def test_turns_of_a_screw_for_an_error(tmp_path: Path) -> None:
    knobs = knob_specs(
        rig(tmp_path, SCREW + 'clockwise_moves = "east"', SCREW + 'clockwise_moves = "up"'), True
    )
    made = {m.knob: m for m in correct_knobs(given_alignment((61.3818, 0.0), Sky.over(NORTH)), knobs).moves}
    assert made["azimuth"].turns == pytest.approx(1.0, abs=1e-4)
    assert (made["azimuth"].direction, made["azimuth"].sense) == ("west", "counterclockwise")
    # a tilt of 30.69 arcmin at 70 mm is 70 tan(30.69') = 0.62494 mm of travel: half a turn, tangent and arc alike
    half = correct_knobs(given_alignment((0.0, 30.69), Sky.over(NORTH)), knobs).moves[0]
    assert half.turns == pytest.approx(70 * math.tan(math.radians(30.69 / 60)) / 1.25, rel=2e-4)


def test_silent_rig_file_leaves_all_unknown(tmp_path: Path) -> None:
    for knobs in (knob_specs(None, True), knob_specs(rig(tmp_path), True)):
        for knob in knobs:
            assert (knob.gain, knob.size, knob.backlash_turns, knob.smallest_turn) == (None, None, None, 0.01)


def test_play_and_smallest_turn_come_along(tmp_path: Path) -> None:
    azimuth, _ = knob_specs(rig(tmp_path, "backlash_turns = 0.125\nsmallest_turn = 0.02"), True)
    assert (azimuth.backlash_turns, azimuth.smallest_turn) == (0.125, 0.02)


BOTH = 'arcmin_per_turn = 50\nbacklash_turns = 0.2\nclockwise_moves = "{}"'


@pytest.mark.parametrize(("site", "sign"), [(NORTH, 1), (SOUTH, -1)])
def test_expected_move_is_turns_less_play_times_gain(tmp_path: Path, site: Site, sign: int) -> None:
    before = given_alignment((10.0, 10.0), Sky.over(site))
    file = rig(tmp_path, BOTH.format("east"), BOTH.format("down"))
    move = expected_move(before, file, (1.0, -0.5))
    assert move == pytest.approx((sign * 45.0, 20.0))  # half of the play, 0.1 of a turn, is ahead
    assert expected_move(before, file, (0.0, 0.0)) == pytest.approx((0.0, 0.0))


def test_nothing_is_expected_of_turns_not_told_or_knobs_not_known(tmp_path: Path) -> None:
    before = given_alignment((10.0, 10.0), Sky.over(NORTH))
    file = rig(tmp_path, BOTH.format("east"))
    assert expected_move(before, file, None) is None
    assert expected_move(before, None, (1.0, 1.0)) is None
    assert expected_move(before, file, (1.0, 1.0)) is None
    assert expected_move(before, file, (1.0, 0.0)) == pytest.approx((45.0, 0.0))


def test_night_so_far_sharpens_what_is_expected(tmp_path: Path) -> None:
    # a knob of 60 arcmin per turn, said to be of 50, turned on without reversing
    plain = 'arcmin_per_turn = 50\nclockwise_moves = "{}"'
    steps = night((0, 0, None), (60, 0, (1.0, 0.0)), (120, 0, (1.0, 0.0)), (180, 0, (1.0, 0.0)))
    before = replace(given_alignment((10.0, 10.0), Sky.over(NORTH)), steps=tuple(steps))
    move = expected_move(before, rig(tmp_path, plain.format("east"), plain.format("up")), (1.0, 0.0))
    assert move is not None
    assert move[0] == pytest.approx(60.0, abs=1.2)
