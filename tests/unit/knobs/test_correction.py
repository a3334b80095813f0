"""From an error to knob moves: signs, turns, play, and what a night teaches; expected values by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.alignment.state import Alignment, Step
from polarcheck.alignment.systematic import Systematic
from polarcheck.knobs.correction import Correction, correct_knobs
from polarcheck.knobs.moves import Move
from polarcheck.knobs.response import learn_response
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement.source import given_alignment
from polarcheck.site import Site
from polarcheck.sky.observed import Sky
from tests.helpers import ARCSEC, DEG
from tests.knob_nights import night

NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
ARCMIN = 60 * ARCSEC
UNKNOWN = KnobSpec()
KNOB = KnobSpec(gain=50.0)


def alignment(error: tuple[float, float], site: Site = NORTH, sigma_arcmin: float = 0.05) -> Alignment:
    covariance = np.eye(2) * (sigma_arcmin * ARCMIN) ** 2
    return replace(given_alignment(error, Sky.over(site, pressure_hpa=0.0)), covariance=covariance)


def moves(
    error: tuple[float, float],
    azimuth: KnobSpec = UNKNOWN,
    altitude: KnobSpec = UNKNOWN,
    site: Site = NORTH,
) -> dict[str, Move]:
    correction = correct_knobs(alignment(error, site), (azimuth, altitude))
    assert [move.knob for move in correction.moves] == ["altitude", "azimuth"]
    return {move.knob: move for move in correction.moves}


@pytest.mark.parametrize(
    ("site", "error", "azimuth", "altitude"),
    [
        # north: azimuth grows from north to east, so a positive error is too far east
        (NORTH, (20.0, 10.0), "west", "down"),
        (NORTH, (-20.0, -10.0), "east", "up"),
        # south: facing azimuth 180, growing azimuth goes to west
        (SOUTH, (20.0, 10.0), "east", "down"),
        (SOUTH, (-20.0, -10.0), "west", "up"),
    ],
)
def test_axis_goes_back_to_where_it_is_missing(
    site: Site, error: tuple[float, float], azimuth: str, altitude: str
) -> None:
    made = moves(error, site=site)
    assert made["azimuth"].direction == azimuth
    assert made["altitude"].direction == altitude
    assert made["azimuth"].move_arcmin == pytest.approx(-error[0], abs=1e-6)
    assert made["altitude"].move_arcmin == pytest.approx(-error[1], abs=1e-6)


def test_sigma_of_a_move_is_that_of_the_error() -> None:
    # 0.05 arcmin on the sky is 0.05 / cos(altitude of the axis) about the vertical; normal, 68.27 % is one sigma
    made = moves((12.0, 30.0))
    assert made["altitude"].sigma_arcmin == pytest.approx(0.05, rel=1e-4)
    assert made["azimuth"].sigma_arcmin == pytest.approx(0.05 / np.cos(47.8 * DEG), rel=1e-4)


@pytest.mark.parametrize(
    ("error", "gains", "senses"),
    [
        ((20.0, 10.0), (50.0, 50.0), ("counterclockwise", "counterclockwise")),
        ((20.0, 10.0), (-50.0, -50.0), ("clockwise", "clockwise")),
        ((-20.0, 10.0), (50.0, -50.0), ("clockwise", "clockwise")),
        ((-20.0, -10.0), (-50.0, -50.0), ("counterclockwise", "counterclockwise")),
    ],
)
def test_sense_follows_from_where_clockwise_goes(
    error: tuple[float, float], gains: tuple[float, float], senses: tuple[str, str]
) -> None:
    made = moves(error, KnobSpec(gain=gains[0]), KnobSpec(gain=gains[1]))
    assert (made["azimuth"].sense, made["altitude"].sense) == senses
    # at 50 arcmin a turn, by division
    assert made["azimuth"].turns == pytest.approx(0.4, abs=1e-9)
    assert made["altitude"].turns == pytest.approx(0.2, abs=1e-9)


def test_knob_of_unknown_action_has_no_turns_and_no_sense() -> None:
    made = moves((20.0, 10.0), altitude=KnobSpec(gain=40.0))
    assert (made["azimuth"].turns, made["azimuth"].sense) == (None, None)
    assert made["altitude"].turns == pytest.approx(0.25)


def test_knob_of_known_size_and_unknown_sense_tells_turns_only() -> None:
    made = moves((20.0, 10.0), KnobSpec(size=50.0), KnobSpec(size=40.0))
    assert made["azimuth"].turns == pytest.approx(0.4)
    assert made["altitude"].turns == pytest.approx(0.25)
    assert made["azimuth"].sense is made["altitude"].sense is None


def test_move_below_half_the_smallest_turn_is_idle_and_takes_up_no_play() -> None:
    knob = KnobSpec(gain=50.0, backlash_turns=0.2, smallest_turn=0.02)
    made = moves((0.4, 30.0), knob, knob)  # 0.4 / 50 = 0.008 of a turn, below 0.01
    assert made["azimuth"].is_idle
    assert made["azimuth"].turns == 0.0
    assert made["azimuth"].take_up_turns == 0.0
    assert not made["altitude"].is_idle
    assert made["altitude"].take_up_turns == pytest.approx(0.1)  # nobody knows where in its play: half


def test_reversal_takes_up_all_the_play_and_going_on_takes_none() -> None:
    knob = KnobSpec(gain=50.0, backlash_turns=0.15)
    # one whole turn clockwise of both took up any play; what is left to do then decides
    steps = night((-90.0, -90.0, None), (-40.0, -40.0, (1.15, 1.15)))
    base = replace(alignment((-10.0, 10.0)), steps=tuple(steps))
    made = {move.knob: move for move in correct_knobs(base, (knob, knob)).moves}
    assert made["azimuth"].sense == "clockwise"
    assert made["azimuth"].take_up_turns == pytest.approx(0.0, abs=1e-9)
    assert made["altitude"].sense == "counterclockwise"
    assert made["altitude"].take_up_turns == pytest.approx(0.15, abs=0.002)  # but for what a hand missed
    turns = made["altitude"].turns
    assert turns is not None
    assert turns > 0.15 + 0.1


# a mount whose knobs do not what the rig file says, on a base that leans: move = TRUTH @ turns
TRUTH = np.array([[61.0, -4.0], [1.5, 38.0]])


def learned_night(knobs: list[tuple[float, float]], sigma_arcmin: float = 0.02) -> list[Step]:
    at = np.array([-150.0, -90.0])
    places: list[tuple[float, float, tuple[float, float] | None]] = [(at[0], at[1], None)]
    for turned in knobs:
        at = at + TRUTH @ turned
        places.append((at[0], at[1], turned))
    return night(*places, sigma_arcmin=sigma_arcmin)


def test_night_teaches_gain_and_cross_talk() -> None:
    # six turns of a hand that misses by 4 % leave 4 % / sqrt(3) of doubt in a gain
    turned = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.5), (0.7, -1.0), (1.0, 1.0), (0.5, -0.6)]
    knobs = KnobSpec(gain=50.0), KnobSpec(gain=50.0)
    before = learn_response([], *knobs, 47.3 * DEG)
    after = learn_response(learned_night(turned), *knobs, 47.3 * DEG)
    assert np.diag(before.matrix) == pytest.approx([50.0, 50.0])
    assert after.turns_seen == 6
    assert np.diag(after.matrix) == pytest.approx(np.diag(TRUTH), rel=0.03)
    assert after.matrix[0, 1] == pytest.approx(TRUTH[0, 1], abs=2.0)
    assert after.matrix[1, 0] == pytest.approx(TRUTH[1, 0], abs=2.0)
    assert np.all(np.abs(after.matrix - TRUTH).reshape(4) < 3 * np.sqrt(np.diag(after.covariance)))
    assert np.all(np.diag(after.covariance) < np.diag(before.covariance))


def test_night_teaches_a_knob_that_no_rig_file_knows() -> None:
    response = learn_response(learned_night([(1.0, 0.0), (0.5, 0.0)]), KnobSpec(), KnobSpec(), 47.3 * DEG)
    assert response.known == (True, False)
    assert response.matrix[0, 0] == pytest.approx(61.0, rel=0.06)


def test_learned_response_solves_for_both_knobs_at_once() -> None:
    turned = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.5), (0.7, -1.0), (1.0, 1.0), (0.5, -0.6)]
    base = replace(alignment((-30.0, 20.0)), steps=tuple(learned_night(turned)))
    correction = correct_knobs(base, (KnobSpec(gain=50.0), KnobSpec(gain=50.0)))
    signed = {m.knob: (m.turns or 0.0) * (1 if m.sense == "clockwise" else -1) for m in correction.moves}
    made = TRUTH @ [signed["azimuth"], signed["altitude"]]
    assert made == pytest.approx([30.0, -20.0], abs=1.2)


@pytest.mark.parametrize("turned", [None, (0.0, 0.0)])
def test_turns_that_nobody_told_teach_nothing(turned: tuple[float, float] | None) -> None:
    steps = night((0.0, 0.0, None), (50.0, 30.0, turned) if turned is None else (0.0, 0.0, turned))
    response = learn_response(steps, KnobSpec(gain=50.0), KnobSpec(gain=50.0), 47.3 * DEG)
    assert response.matrix == pytest.approx(np.diag([50.0, 50.0]), abs=1e-9)


def test_untold_turns_leave_the_play_unknown() -> None:
    knob = KnobSpec(gain=50.0, backlash_turns=0.2)
    told = night((0.0, 0.0, None), (50.0, 50.0, (1.1, 1.1)))
    untold = [*told, replace(told[-1], turned=None)]
    for play in learn_response(told, knob, knob, 0.8).plays:
        assert play.turns_for(0.3) == pytest.approx(0.3)
    for play in learn_response(untold, knob, knob, 0.8).plays:
        assert play.turns_for(0.3) == pytest.approx(0.4, abs=0.01)


def judged(error: tuple[float, float], sigma: float = 0.05, smallest: float = 0.01) -> Correction:
    knob = KnobSpec(gain=50.0, smallest_turn=smallest)
    return correct_knobs(alignment(error, sigma_arcmin=sigma), (knob, knob))


@pytest.mark.parametrize(
    ("error", "sigma", "smallest", "worth"),
    [
        ((20.0, 10.0), 0.05, 0.01, True),
        ((2.0, 1.0), 0.05, 0.01, True),
        ((2.0, 1.0), 4.0, 0.01, False),  # below its own noise
        ((0.1, 0.2), 0.02, 0.01, False),  # a hundredth of a turn moves 0.5 arcmin
        ((2.0, 2.0), 0.02, 0.1, False),  # a tenth moves 5
        ((9.0, 9.0), 0.02, 0.1, True),
    ],
)
def test_turn_is_worth_it_above_noise_and_above_what_a_hand_can_do(
    error: tuple[float, float], sigma: float, smallest: float, worth: bool
) -> None:
    correction = judged(error, sigma, smallest)
    assert correction.worth_turning is worth
    assert "arcmin are left" in correction.why


def test_allowance_for_sag_and_creep_counts_as_two_sigmas() -> None:
    """A bound that holds 95 times in a hundred: 1.96 sigmas of a normal distribution."""
    bound = Systematic(5.0, "assumed", np.eye(2) * (0.2 * ARCMIN) ** 2)
    advice = correct_knobs(
        replace(alignment((0.05, 0.05), sigma_arcmin=1e-4), systematic=bound), (KNOB, KNOB)
    ).next
    assert advice.action == "stop"
    assert advice.expected_sigma_arcmin == pytest.approx(np.sqrt(2) * 0.2 / 1.96, rel=0.1)


def test_unknown_knobs_are_worth_turning_and_it_says_why() -> None:
    correction = correct_knobs(alignment((20.0, 10.0)), (KnobSpec(), KnobSpec()))
    assert correction.worth_turning
    assert "how far a turn of the knobs moves the axis is not known" in correction.why
