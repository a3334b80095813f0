"""What a knob's turns do, and how wide a sensor sees."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from polarcheck.errors import InputError
from polarcheck.rig.mechanics import (
    SMALLEST_TURN,
    arcmin_from_turns,
    arcmin_per_turn,
    field_of_view_deg,
    screw_travel_mm,
    smallest_turn,
    turns_from_arcmin,
)
from polarcheck.rig.tables import Knob

SCREW: dict[str, Any] = {"thread_pitch_mm": 1.25, "lever_mm": 70.0}


def test_measured_turn_wins_over_thread_and_lever() -> None:
    knob = Knob(arcmin_per_turn=50.0, **SCREW)
    assert arcmin_per_turn(knob) == 50.0
    assert turns_from_arcmin(knob, 25.0) == 0.5
    assert arcmin_from_turns(knob, -2.0) == -100.0


@pytest.mark.parametrize("knob", [Knob(), Knob(clockwise_moves="east", backlash_turns=0.1)])
def test_knob_of_unknown_action_gives_none(knob: Knob) -> None:
    assert arcmin_per_turn(knob) is None
    assert turns_from_arcmin(knob, 10.0) is None
    assert arcmin_from_turns(knob, 1.0) is None


def test_sign_of_the_angle_is_the_sign_of_the_turns() -> None:
    forth, back = turns_from_arcmin(Knob(**SCREW), 30.0), turns_from_arcmin(Knob(**SCREW), -30.0)
    assert forth is not None and back is not None
    assert forth > 0 and back == -forth


@given(turns=st.floats(-20, 20), pitch=st.floats(0.5, 3), lever=st.floats(20, 200))
def test_turns_for_an_angle_undo_the_angle_of_turns(turns: float, pitch: float, lever: float) -> None:
    knob = Knob(thread_pitch_mm=pitch, lever_mm=lever)
    angle = arcmin_from_turns(knob, turns)
    assert angle is not None
    assert turns_from_arcmin(knob, angle) == pytest.approx(turns, rel=1e-12, abs=1e-12)


@given(turns=st.floats(1, 20))
def test_screw_moves_less_per_turn_the_further_it_is_out(turns: float) -> None:
    """The tangent grows faster than its angle."""
    total, first = arcmin_from_turns(Knob(**SCREW), turns), arcmin_per_turn(Knob(**SCREW))
    assert total is not None and first is not None
    assert total <= turns * first * (1 + 1e-12)


@pytest.mark.parametrize("angle", [5400.0, -5400.0, 1e6, float("nan"), float("inf")])
def test_right_angle_is_refused(angle: float) -> None:
    with pytest.raises(InputError, match="cannot turn the axis"):
        screw_travel_mm(angle, 60.0)


def test_smallest_turn_is_a_hundredth_unless_stated() -> None:
    assert smallest_turn(Knob()) == SMALLEST_TURN == 0.01
    assert smallest_turn(Knob(smallest_turn=0.02)) == 0.02


def test_sensor_as_wide_as_twice_the_focal_length_sees_a_right_angle() -> None:
    """tan 45 deg = 1."""
    assert field_of_view_deg(2000, 10.0, 10.0) == pytest.approx(90.0, abs=1e-12)
