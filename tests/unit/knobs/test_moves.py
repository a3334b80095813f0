"""Two bolts that share a move, a move beyond a knob's travel, and how a level mount moves; worked by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polarcheck.knobs.correction import correct, correct_knobs
from polarcheck.knobs.moves import Move, knob_rotation
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement.source import given_alignment
from polarcheck.report.text.correction import correction_text
from polarcheck.rig import as_rig
from polarcheck.site import Site
from polarcheck.sky.observed import Sky
from tests.helpers import DEG, altitude_of, enu

NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
EAST_IN = KnobSpec(gain=50.0, is_opposed=True)  # in the north: the east bolt driven in moves the axis east


def moves(
    error: tuple[float, float], azimuth: KnobSpec, altitude: KnobSpec, site: Site = NORTH
) -> list[Move]:
    made = correct_knobs(given_alignment(error, Sky.over(site, pressure_hpa=0.0)), (azimuth, altitude)).moves
    return sorted(made, key=lambda move: move.knob, reverse=True)  # azimuth, altitude


def text(error: tuple[float, float], azimuth: KnobSpec, altitude: KnobSpec, site: Site = NORTH) -> str:
    given = given_alignment(error, Sky.over(site, pressure_hpa=0.0))
    shown = correction_text(correct_knobs(given, (azimuth, altitude)), given)
    assert max(len(line) for line in shown.splitlines()) <= 80
    return " ".join(shown.split())


@pytest.mark.parametrize(
    ("error", "knob", "azimuth", "altitude"),
    [
        # a right-hand thread (common practice, no source): clockwise drives a bolt in, so the other is eased first
        ((20.0, 10.0), EAST_IN, "east", "pole"),
        ((-20.0, -10.0), EAST_IN, "west", "equator"),
        ((20.0, 10.0), KnobSpec(gain=-50.0, is_opposed=True), "west", "equator"),
        ((20.0, 10.0), KnobSpec(size=50.0, is_opposed=True), None, None),
        ((20.0, 10.0), KnobSpec(gain=50.0), None, None),
    ],
)
def test_of_two_bolts_the_one_that_comes_out_is_eased_first(
    error: tuple[float, float], knob: KnobSpec, azimuth: str | None, altitude: str | None
) -> None:
    made = moves(error, knob, knob)
    assert [move.ease_first for move in made] == [azimuth, altitude]
    assert [move.is_opposed for move in made] == [knob.is_opposed] * 2


def test_text_says_which_bolt_out_and_the_other_in_by_as_much() -> None:
    said = text((20.0, 10.0), EAST_IN, KnobSpec(gain=50.0))
    assert "2. azimuth: 20.0 arcmin west (left, facing the pole): 0.40 of a turn counterclockwise" in said
    assert (
        "First ease the bolt on the east side, counterclockwise, then drive the one on the west side in, clockwise, by as much"
        in said
    )
    assert said.count("First ease") == 1
    unknown = text((20.0, 10.0), KnobSpec(size=50.0, is_opposed=True), KnobSpec())
    assert "Ease one bolt first, then drive the other in by as much" in unknown
    for shown in (said, unknown):
        assert "never free both" in shown


@pytest.mark.parametrize(
    ("move", "travel", "beyond"),
    [(100.0, None, None), (100.0, 200.0, 0.0), (100.0, 150.0, 25.0), (-100.0, 60.0, 70.0)],
)
def test_knob_in_the_middle_reaches_half_its_travel_either_way(
    move: float, travel: float | None, beyond: float | None
) -> None:
    knob = KnobSpec(gain=50.0, travel_arcmin=travel)
    for made in moves((-move, -move), knob, knob):
        assert made.beyond_travel_arcmin == pytest.approx(beyond, abs=1e-6)


def test_what_no_knob_reaches_is_worth_a_move_of_the_tripod_by_its_angle() -> None:
    knob = KnobSpec(gain=50.0, travel_arcmin=100.0)
    said = text((150.0, 90.0), knob, knob)
    assert correct_knobs(given_alignment((150.0, 90.0), Sky.over(NORTH)), (knob, knob)).worth_turning
    # 150 arcmin are 2.5 deg, tan 0.04366; 90 are 1.5 deg, tan 0.02619
    assert (
        "turn the tripod about the vertical by 2.5 deg west (left, facing the pole), counterclockwise" in said
    )
    assert "a leg goes 44 mm for each metre" in said
    assert (
        "set the latitude scale 1.5 deg lower, or lower the leg on the pole's side by 26 mm for each metre"
        in said
    )
    assert "the azimuth and the altitude knob may not reach: the tripod must be moved" in said


def test_tripod_turns_the_other_way_in_the_south() -> None:
    # facing azimuth 180, a negative error is too far east: west is to the right, clockwise from above
    knob = KnobSpec(gain=50.0, travel_arcmin=100.0)
    said = text((-150.0, -90.0), knob, knob, SOUTH)
    assert "by 2.5 deg west (right, facing the pole), clockwise seen from above" in said
    assert "raise the leg on the pole's side" in said


@pytest.mark.parametrize("azimuth_deg", [0.7, 179.2])
def test_knob_rotation_makes_the_moves_of_a_level_mount(azimuth_deg: float) -> None:
    # azimuth and altitude of the turned axis, from its East-North-Up components
    axis = enu(azimuth_deg * DEG, 40 * DEG)
    turned = knob_rotation(axis, 0.5 * DEG, -0.3 * DEG) @ axis
    assert np.arctan2(turned[0], turned[1]) / DEG == pytest.approx(azimuth_deg + 0.5, abs=1e-9)
    assert altitude_of(turned) / DEG == pytest.approx(39.7, abs=1e-9)


@pytest.mark.parametrize(
    ("arcmin", "printed"),
    [
        # 40 arcmin per turn, so by division
        (15.0, "3/8 of a turn"),
        (10.0, "1/4 of a turn"),
        (35.0, "7/8 of a turn"),
        (39.95, "1 turn"),
        (40.0, "1 turn"),
        (50.0, "1 1/4 turns"),
        (80.0, "2 turns"),
        (12.8, "0.32 of a turn"),
    ],
)
def test_turns_are_printed_as_a_hand_can_make_them(arcmin: float, printed: str) -> None:
    said = text((20.0, -arcmin), KnobSpec(gain=40.0), KnobSpec(gain=40.0, backlash_turns=0.0))
    assert f"{arcmin:.1f} arcmin up: {printed} clockwise." in said


def test_without_a_rig_file_it_says_that_there_is_none_and_how_to_make_one(tmp_path: Path) -> None:
    said = text((20.0, 10.0), KnobSpec(), KnobSpec())
    assert "There is no rig file to say how far a turn moves the axis: polarcheck rig new writes one" in said
    assert "how far that is in turns is not known" in said
    assert "rig file" not in text((20.0, 10.0), KnobSpec(gain=50.0), KnobSpec(gain=50.0))
    named = tmp_path / "mine.toml"
    named.write_text("[optics]\nfocal_length_mm = 400\n", encoding="utf-8")
    given = given_alignment((20.0, 10.0), Sky.over(NORTH, pressure_hpa=0.0))
    silent = " ".join(correction_text(correct(given, named), given, rig=as_rig(named)).split())
    assert "mine.toml does not say how far a turn of each knob moves the axis" in silent
    assert "There is no rig file" not in silent


def test_a_tripods_leg_goes_by_the_tangent_of_the_move() -> None:
    # tan 1 deg = 0.0174551, by the tables
    move = Move("azimuth", -60.0, 0.1, "west", None, None, beyond_travel_arcmin=20.0)
    assert move.shift_mm_per_m == pytest.approx(17.4551, abs=1e-4)
    assert move.reach_arcmin == pytest.approx(40.0)
