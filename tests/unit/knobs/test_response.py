"""What a knob is believed to do before and after a night: expected values by hand."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.knobs.response import Response, learn_response
from polarcheck.knobs.spec import KnobSpec
from tests.helpers import DEG
from tests.knob_nights import night

HEIGHT = 45 * DEG


def sigmas(response: Response) -> np.ndarray:  # type: ignore[type-arg]
    """Of the matrix's entries. [arcmin/turn]"""
    return np.sqrt(np.diag(response.covariance)).reshape(2, 2)


def test_gain_that_another_night_told_may_be_two_percent_off() -> None:
    """Screws and loads differ a little from night to night (common practice, no source)."""
    kept = KnobSpec(gain=50.0, gain_sigma=0.0)
    assert np.diag(sigmas(learn_response([], kept, kept, HEIGHT))) == pytest.approx([1.0, 1.0], rel=0.3)


def test_base_may_be_out_of_level_by_two_degrees() -> None:
    """A base that leans by 1.7 deg turns sin(1.7 deg) of a knob's move into the other direction."""
    knob = KnobSpec(gain=50.0)
    leaning = 50 * np.sin(1.7 * DEG)
    spread = sigmas(learn_response([], knob, knob, HEIGHT))
    assert spread[1, 0] == pytest.approx(leaning * np.cos(HEIGHT), rel=0.3)
    assert spread[0, 1] == pytest.approx(leaning / np.cos(HEIGHT), rel=0.3)


def test_unknown_knob_may_move_the_axis_as_a_coarse_screw_on_a_short_lever() -> None:
    """A pitch of 2 mm at a lever of 20 mm is 0.1 rad a turn, 344 arcmin: within two sigmas; 12 deg are not."""
    (azimuth, _), (_, altitude) = sigmas(learn_response([], KnobSpec(), KnobSpec(), HEIGHT))
    for sigma in (azimuth, altitude):
        assert 0.1 / DEG * 60 < 2 * sigma < 12 * 60


@pytest.mark.parametrize(("turns", "known"), [(0.016, False), (0.03, True)])
def test_turn_of_a_few_hand_misses_tells_which_way_a_knob_goes(turns: float, known: bool) -> None:
    """A hand misses by half a hundredth of a turn: three of these tell nothing sure, six do."""
    knob = KnobSpec(size=50.0, backlash_turns=0.0)
    steps = night((0.0, 0.0, None), (50 * turns, 0.0, (turns, 0.0)))
    assert learn_response(steps, knob, KnobSpec(), HEIGHT).known == (known, False)


def test_turn_that_was_told_wrong_teaches_little() -> None:
    """Two turns made where one was told: 6 sigmas of a gain that is stated to 15 %, which no good telling gives.

    Trusted, it would take the gain from 50 nearly to 100; as the mishap that it is, to about 60.
    """
    knob = KnobSpec(gain=50.0, backlash_turns=0.0)
    steps = night((0.0, 0.0, None), (100.0, 0.0, (1.0, 0.0)))
    assert learn_response(steps, knob, knob, HEIGHT).matrix[0, 0] == pytest.approx(60.0, abs=5.0)
