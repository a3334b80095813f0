"""What turns are expected to leave, against a mount that is turned many times by hand."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.knobs.outcome import Standing, outcome_of
from polarcheck.knobs.response import learn_response
from polarcheck.knobs.spec import KnobSpec

KNOB = KnobSpec(gain=50.0, backlash_turns=0.2, smallest_turn=0.02)
HEIGHT = 0.8
RESPONSE = learn_response([], KNOB, KNOB, HEIGHT)


def standing(azimuth: float, altitude: float, sigma: float = 0.0) -> Standing:
    return Standing(np.array([azimuth, altitude]), np.eye(2) * sigma**2, float(np.cos(HEIGHT)))


def test_without_a_turn_everything_is_left() -> None:
    outcome = outcome_of(standing(3.0, 4.0, 0.5), RESPONSE, (KNOB, KNOB), (False, False))
    assert outcome.left_arcmin == pytest.approx(np.sqrt(25 + 2 * 0.25))
    assert outcome.by_hand == (0.0, 0.0)


def test_both_knobs_aim_at_the_pole_and_one_leaves_the_other_error() -> None:
    both = outcome_of(standing(30.0, 40.0), RESPONSE, (KNOB, KNOB), (True, True))
    assert both.offset == pytest.approx([0.0, 0.0], abs=1e-9)
    one = outcome_of(standing(30.0, 40.0), RESPONSE, (KNOB, KNOB), (False, True))
    assert one.offset == pytest.approx([30.0, 0.0], abs=1e-9)
    assert one.by_hand[0] == 0.0


def test_what_is_left_is_what_a_hand_leaves_on_drawn_mounts() -> None:
    """Gains 15 % off, cross-talk 3 %, a knob anywhere in its play, a hand that misses by 4 % and half the smallest turn."""
    rng = np.random.default_rng(3)
    here = standing(30.0, 20.0)
    outcome = outcome_of(here, RESPONSE, (KNOB, KNOB), (True, True))
    left = []
    for _ in range(4000):
        cosine = np.cos(HEIGHT)
        gains = 50 * (1 + 0.15 * rng.normal(size=2))
        across = 0.03 * 50 * rng.normal(size=2) * [1 / cosine, cosine]
        matrix = np.array([[gains[0], across[0]], [across[1], gains[1]]])
        wide = np.maximum(0.2 + rng.normal(size=2) * (0.1 * 0.2 + 0.005), 0)
        turns = np.array(outcome.by_hand)
        turned = turns + rng.normal(size=2) * np.hypot(0.04 * turns, 0.01)
        acting = np.sign(turned) * np.maximum(np.abs(turned) - wide * rng.uniform(size=2), 0)
        left.append(here.offset + np.diag([cosine, 1.0]) @ matrix @ acting)
    assert np.sqrt(np.mean(np.sum(np.square(left), axis=1))) == pytest.approx(outcome.left_arcmin, rel=0.06)
    assert outcome.left_if_taught_arcmin < outcome.left_if_known_arcmin


def test_doubt_in_the_axis_adds_to_what_turns_leave() -> None:
    known = outcome_of(standing(30.0, 20.0), RESPONSE, (KNOB, KNOB), (True, True))
    doubted = outcome_of(standing(30.0, 20.0, 2.0), RESPONSE, (KNOB, KNOB), (True, True))
    assert doubted.left_arcmin == pytest.approx(np.hypot(known.left_arcmin, 2.0 * np.sqrt(2)))
    assert doubted.left_if_known_arcmin == pytest.approx(known.left_arcmin)
