"""What a night taught goes into the rig file, and nothing of the user's is lost."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polarcheck.alignment.state import Step
from polarcheck.errors import InputError
from polarcheck.knobs.clamps import ClampShift
from polarcheck.knobs.response import Response, learn_response
from polarcheck.knobs.spec import KnobSpec, knob_specs
from polarcheck.knobs.writing import kept_knobs, rig_text_with_knobs, rig_text_with_shift
from polarcheck.rig.file import read_rig
from polarcheck.times import add_seconds, utc_from_iso

COMMENTED = """# my rig, do not lose this line
[site]
latitude_deg = 47.3   # meadow
longitude_deg = 11.2

[mount.azimuth]
thread_pitch_mm = 1.25  # M8
lever_mm = 70
backlash_turns = 0.1
"""


def night(gains: tuple[float, float], backlash: float, turns: list[tuple[float, float]]) -> list[Step]:
    """Steps of a level mount whose knobs have these gains [arcmin per turn] and a backlash, taken up clockwise."""
    utc, place, play = utc_from_iso("2026-11-14T20:00:00"), np.array([3.0, 46.0]), np.zeros(2)
    steps = [Step(utc, *place, np.eye(2) * 1e-12)]
    for turned in turns:
        for i, turn in enumerate(turned):
            end = play[i] + turn  # play runs from -backlash (taken up the other way) to 0
            acting = max(end, 0.0) if turn > 0 else min(end + backlash, 0.0)
            play[i] = np.clip(end, -backlash, 0.0)
            place[i] += acting * gains[i] / 60
        utc = add_seconds(utc, 120.0)
        steps.append(Step(utc, *place, np.eye(2) * 1e-12, turned, is_fresh=False))
    return steps


def learned(gains: tuple[float, float] = (44.0, -57.0), backlash: float = 0.125) -> Response:
    turns = [(1.0, 0.8), (0.5, 0.4), (-0.6, -0.5), (0.5, 0.6), (-0.4, -0.3)]
    spec = KnobSpec(gain=50.0, backlash_turns=0.1)
    return learn_response(night(gains, backlash, turns), spec, replace(spec, gain=-50.0), 0.8)


def test_learned_gains_and_backlash_are_those_of_the_mount() -> None:
    azimuth, altitude = kept_knobs(learned(), north=True)
    assert azimuth.arcmin_per_turn == pytest.approx(44.0, abs=3 * azimuth.arcmin_per_turn_sigma)
    assert altitude.arcmin_per_turn == pytest.approx(57.0, abs=3 * altitude.arcmin_per_turn_sigma)
    assert azimuth.arcmin_per_turn_sigma < 2.5
    assert (azimuth.clockwise_moves, altitude.clockwise_moves) == ("east", "down")
    assert azimuth.backlash_turns == pytest.approx(0.125, abs=0.03)
    assert kept_knobs(learned(), north=False)[0].clockwise_moves == "west"


def test_comments_and_order_stay_and_the_file_reads_back(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(COMMENTED, encoding="utf-8")
    knobs = kept_knobs(learned(), north=True)
    text = rig_text_with_knobs(read_rig(path), knobs)
    for line in (
        "# my rig, do not lose this line",
        "latitude_deg = 47.3   # meadow",
        "thread_pitch_mm = 1.25  # M8",
    ):
        assert line in text
    path.write_text(text + "\n", encoding="utf-8")
    azimuth, altitude = knob_specs(read_rig(path), True)
    assert azimuth.gain == pytest.approx(knobs[0].arcmin_per_turn, rel=1e-3)
    assert altitude.gain == pytest.approx(-knobs[1].arcmin_per_turn, rel=1e-3)
    assert azimuth.gain_sigma == pytest.approx(knobs[0].arcmin_per_turn_sigma, rel=1e-3)


def test_next_night_begins_with_what_was_kept() -> None:
    """A stated gain is doubted by 15 %; one that a night told by its own sigma."""
    plain = learn_response([], KnobSpec(gain=44.0), KnobSpec(gain=57.0), 0.8)
    kept = learn_response([], KnobSpec(gain=44.0, gain_sigma=0.5), KnobSpec(gain=57.0), 0.8)
    assert np.sqrt(plain.covariance[0, 0]) == pytest.approx(6.6)
    assert np.sqrt(kept.covariance[0, 0]) < 1.2


def test_shift_by_tightening_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text("[mount]\nclamp_shift_arcmin = [0.0, 0.0] # guess\n", encoding="utf-8")
    text = rig_text_with_shift(read_rig(path), ClampShift(1.53, -0.42, 0.1, 0.1))
    assert tomllib.loads(text)["mount"]["clamp_shift_arcmin"] == [1.53, -0.42]
    assert "# guess" in text


def test_nothing_learned_is_not_kept(tmp_path: Path) -> None:
    spec = KnobSpec(gain=50.0)
    with pytest.raises(InputError, match="nothing was learned"):
        kept_knobs(learn_response([], spec, spec, 0.8), True)
    tiny = night((50.0, 50.0), 0.0, [(0.004, 0.003)])
    with pytest.raises(InputError, match="10 %"):
        kept_knobs(learn_response(tiny, KnobSpec(size=50.0), KnobSpec(size=50.0), 0.8), True)


@pytest.mark.parametrize(("percent", "kept"), [(7.0, True), (15.0, False)])
def test_gain_is_kept_that_is_surer_than_ten_percent(percent: float, kept: bool) -> None:
    """A stated gain is doubted by 15 %: what is no surer teaches the next night nothing."""
    sigma = (0.5 * percent) ** 2
    covariance = np.diag([sigma, 900.0, 900.0, 900.0])
    response = replace(learned(), matrix=np.diag([50.0, 50.0]), covariance=covariance)
    if kept:
        assert [knob.name for knob in kept_knobs(response, True)] == ["azimuth"]
    else:
        with pytest.raises(InputError, match="10 %"):
            kept_knobs(response, True)


def test_file_that_would_not_be_valid_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text("[mount]\n", encoding="utf-8")
    rig = read_rig(path)
    with pytest.raises(InputError, match=r"rig\.toml"):
        rig_text_with_shift(rig, ClampShift(5000.0, 0.0, 0.1, 0.1))
