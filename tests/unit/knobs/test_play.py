"""Backlash: what a turn loses, and what a measured night tells of it; expected values by hand."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.knobs.play import Play, hand_miss
from polarcheck.knobs.response import learn_response
from polarcheck.knobs.spec import KnobSpec
from tests.helpers import DEG
from tests.knob_nights import night

WIDE = 0.2


def exact(ahead: float) -> Play:
    """One hypothesis: a backlash of 0.2 turns, of which some lie ahead."""
    return Play(np.array([WIDE]), np.array([ahead]), np.array([1.0]), is_stated=True)


def test_play_is_lost_once_and_again_after_a_reversal() -> None:
    play, lost = exact(0.1), []
    for turns in (0.5, 0.5, -0.5, 0.05, 0.25):
        lost.append(turns - float(play.acting(turns)[0]))
        play = play.turned(turns)
    # 0.1 ahead; none; all of it back; 0.05 of it forth, and the other 0.15
    assert lost == pytest.approx([0.1, 0.0, -0.2, 0.05, 0.15])
    assert play.reversals == 2


def test_turn_within_the_play_moves_nothing() -> None:
    assert exact(0.15).acting(0.1) == pytest.approx([0.0])
    assert exact(0.15).acting(-0.05) == pytest.approx([0.0])
    assert exact(0.15).acting(-0.06) == pytest.approx([-0.01])


@pytest.mark.parametrize("knob", [KnobSpec(backlash_turns=WIDE), KnobSpec(), KnobSpec(backlash_turns=0.0)])
def test_hypotheses_are_possible_ones(knob: KnobSpec) -> None:
    play = Play.of(knob)
    assert play.weights.sum() == pytest.approx(1.0)
    assert np.all(play.weights >= 0)
    assert np.all((play.ahead >= 0) & (play.ahead <= play.backlash))


def test_stated_backlash_stands_halfway_and_unstated_is_not_counted_before_a_turn() -> None:
    stated = Play.of(KnobSpec(backlash_turns=WIDE))
    assert stated.backlash_turns == pytest.approx(WIDE)
    assert stated.turns_for(1.0) == pytest.approx(1.0 + WIDE / 2)
    assert stated.turned(1.0).turns_for(0.5) == pytest.approx(0.5)
    assert stated.turned(1.0).turns_for(-0.5) == pytest.approx(-0.5 - WIDE)
    assert Play.of(KnobSpec()).turns_for(0.3) == 0.3


@pytest.mark.parametrize("acting", [0.004, 0.03, -0.01, -0.4])
def test_turns_act_as_wanted_on_the_mean_of_the_hypotheses(acting: float) -> None:
    play = Play.of(KnobSpec(backlash_turns=WIDE))
    assert float(play.weights @ play.acting(play.turns_for(acting))) == pytest.approx(acting)


def test_what_a_hand_misses_grows_from_half_its_smallest_turn() -> None:
    # 4 % of a turn and half the smallest turn, independent: square root of the sum of squares
    assert hand_miss(0.0, KnobSpec(smallest_turn=0.02)) == pytest.approx(0.01)
    assert hand_miss(1.0, KnobSpec(smallest_turn=0.06)) == pytest.approx(0.05)


def turned_with_backlash(backlash: float, turned: list[float], gain: float, miss: list[float]) -> list[float]:
    """Places of an azimuth knob that first has no play ahead, each turn missed by some: by a dead band."""
    places, ahead = [0.0], 0.0
    for turns, off in zip(turned, miss, strict=True):
        by_hand = turns * (1 + off)
        play = ahead if by_hand >= 0 else backlash - ahead
        acting = np.copysign(max(abs(by_hand) - play, 0.0), by_hand)
        ahead = float(np.clip(ahead - by_hand, 0.0, backlash))
        places.append(places[-1] + gain * float(acting))
    return places


TURNED = [1.0, 0.5, -0.5, -0.3, 0.6, -0.4]


@pytest.mark.parametrize("stated", [None, 0.15])
def test_backlash_is_learned_where_the_direction_reverses(stated: float | None) -> None:
    knob = KnobSpec(gain=50.0, backlash_turns=stated)
    places = turned_with_backlash(0.125, TURNED, 54.0, [0.01, -0.02, 0.01, 0.02, -0.01, 0.0])
    steps = night(
        (places[0], 0.0, None), *((p, 0.0, (t, 0.0)) for p, t in zip(places[1:], TURNED, strict=True))
    )
    play = learn_response(steps, knob, KnobSpec(gain=50.0), 47.3 * DEG).plays[0]
    assert play.reversals == 3
    # three reversals, each of turns of about half that a hand misses by 4 %: 0.02 / sqrt(3)
    assert play.backlash_turns == pytest.approx(0.125, abs=3 * 0.02 / np.sqrt(3))
    assert 0.002 < play.backlash_sigma_turns < 0.02


def test_turns_in_one_direction_teach_no_backlash() -> None:
    knob = KnobSpec(gain=50.0, backlash_turns=0.2)
    steps = night((0, 0, None), (50, 0, (1.0, 0.0)), (100, 0, (1.0, 0.0)), (150, 0, (1.0, 0.0)))
    before, after = Play.of(knob), learn_response(steps, knob, knob, 0.8).plays[0]
    assert after.reversals == 0
    assert after.backlash_sigma_turns > 0.9 * before.backlash_sigma_turns


def test_backlash_and_its_sigma_hold_over_many_nights() -> None:
    """Pulls of 300 simulated nights: 68 % within one sigma, with 2.7 % of chance; within four of these."""
    rng = np.random.default_rng(7)
    pulls = []
    for _ in range(300):
        true = 0.125 * (1 + 0.1 * rng.normal())
        gain = 50 * (1 + 0.15 * rng.normal())
        places = turned_with_backlash(true, TURNED, gain, list(0.04 * rng.normal(size=len(TURNED))))
        rows = [(p, 0.0, (t, 0.0)) for p, t in zip(places[1:], TURNED, strict=True)]
        steps = night((0.0, 0.0, None), *rows, sigma_arcmin=0.05)
        knob = KnobSpec(gain=50.0, backlash_turns=0.125)
        play = learn_response(steps, knob, KnobSpec(gain=50.0), 47.3 * DEG).plays[0]
        pulls.append((play.backlash_turns - true) / play.backlash_sigma_turns)
    assert np.mean(np.abs(pulls) < 1) > 0.68 - 4 * 0.027
    assert np.mean(np.abs(pulls) < 2) > 0.95 - 4 * 0.0126


def test_unstated_play_is_a_guess_of_the_trade() -> None:
    """Four knobs in ten show no play, the others a seventh of a turn, never over 0.6 (common practice, no source)."""
    play = Play.of(KnobSpec())
    assert play.weights[play.backlash == 0].sum() == pytest.approx(0.4, abs=0.15)
    some = play.backlash > 0
    assert np.average(play.backlash[some], weights=play.weights[some]) == pytest.approx(1 / 7, abs=0.04)
    assert np.all(play.acting(0.7) > 0)
    assert np.any(play.acting(0.5) == 0)


@pytest.mark.parametrize(("stated", "sigma"), [(0.0, 0.003), (0.4, 0.045)])
def test_stated_play_is_doubted_by_a_tenth_and_half_a_smallest_turn(stated: float, sigma: float) -> None:
    """None at all may still be 0.005 of a turn: half a normal distribution, of sigma 0.6 times that."""
    assert Play.of(KnobSpec(backlash_turns=stated)).backlash_sigma_turns == pytest.approx(sigma, rel=0.2)


def test_impossible_hypothesis_is_not_counted() -> None:
    play = Play(np.array([0.0, WIDE]), np.array([0.0, WIDE]), np.array([0.0, 1.0]), is_stated=True)
    assert play.turns_for(0.3) == pytest.approx(0.5)


def test_common_knob_is_missed_by_half_a_hundredth_of_a_turn() -> None:
    assert hand_miss(0.0) == pytest.approx(0.005)
