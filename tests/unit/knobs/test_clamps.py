"""The shift by tightening: measured once, allowed for where the clamps were loose, and out of it where they were not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polarcheck.alignment.state import Alignment, Step
from polarcheck.knobs.clamps import clamp_shift, tightened
from polarcheck.knobs.correction import Wish, correct_knobs
from polarcheck.knobs.expected import expected_move
from polarcheck.knobs.response import learn_response
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement.source import given_alignment
from polarcheck.report.text.correction import correction_text
from polarcheck.rig.file import Rig
from polarcheck.rig.tables import CameraTable, Guiding, Mount, OpticsTable
from polarcheck.site import Site
from polarcheck.sky.observed import Sky
from tests.helpers import ARCSEC, DEG
from tests.knob_nights import night

SITE = Site(47.3, 11.2, 900.0)
ARCMIN = 60 * ARCSEC
SHIFT = (1.5, -0.4)
KNOB = KnobSpec(gain=50.0, backlash_turns=0.0)


def seen(error: tuple[float, float], loose: bool, before: tuple[Step, ...] = ()) -> Alignment:
    """A mount with some error, its last step loose or tight."""
    given = given_alignment(error, Sky.over(SITE, pressure_hpa=0.0))
    covariance = np.eye(2) * (0.05 * ARCMIN) ** 2
    last = Step((2461359.0, 0.4), error[0] / 60, 47.3 + error[1] / 60, covariance, (0.0, 0.0), False, loose)
    return replace(given, covariance=covariance, steps=(*before, last))


def moves(alignment: Alignment, shift: tuple[float, float] | None) -> dict[str, float]:
    return {
        m.knob: m.move_arcmin
        for m in correct_knobs(alignment, (KNOB, KNOB), Wish(clamp_shift_arcmin=shift)).moves
    }


def test_move_after_a_loose_frame_is_minus_error_and_shift() -> None:
    made = moves(seen((10.0, 5.0), loose=True), SHIFT)
    assert made == pytest.approx({"azimuth": -11.5, "altitude": -4.6}, abs=1e-6)


def test_move_after_a_tight_frame_is_minus_the_error() -> None:
    # easing takes the shift off, the knobs move by m, tightening puts it back: -s + m + s
    assert moves(seen((10.0, 5.0), loose=False), SHIFT) == pytest.approx(
        {"azimuth": -10.0, "altitude": -5.0}, abs=1e-6
    )
    assert moves(seen((10.0, 5.0), loose=True), None) == pytest.approx(
        {"azimuth": -10.0, "altitude": -5.0}, abs=1e-6
    )


def test_correction_tells_what_it_allowed_for() -> None:
    loose, tight = seen((10.0, 5.0), loose=True), seen((10.0, 5.0), loose=False)
    assert correct_knobs(loose, (KNOB, KNOB), Wish(clamp_shift_arcmin=SHIFT)).clamp_shift_arcmin == SHIFT
    assert correct_knobs(tight, (KNOB, KNOB), Wish(clamp_shift_arcmin=SHIFT)).clamp_shift_arcmin is None
    for shift, words in ((SHIFT, "by 1.5 arcmin east and 0.4 down"), (None, "nobody knows how far")):
        said = " ".join(
            correction_text(correct_knobs(loose, (KNOB, KNOB), Wish(clamp_shift_arcmin=shift)), loose).split()
        )
        assert words in said
    assert "clamps" not in correction_text(
        correct_knobs(tight, (KNOB, KNOB), Wish(clamp_shift_arcmin=SHIFT)), tight
    )


def test_small_error_that_tightening_will_make_is_worth_a_turn() -> None:
    assert not correct_knobs(seen((0.0, 0.0), loose=True), (KNOB, KNOB)).worth_turning
    assert correct_knobs(
        seen((0.0, 0.0), loose=True), (KNOB, KNOB), Wish(clamp_shift_arcmin=SHIFT)
    ).worth_turning


def test_measured_shift_is_tight_minus_loose_with_the_noise_of_both_frames() -> None:
    camera, own = np.eye(2) * (0.3 * ARCMIN) ** 2, np.eye(2) * (0.1 * ARCMIN) ** 2
    after = seen((11.5, 4.6), False, (replace(seen((10.0, 5.0), True).steps[-1], covariance=camera + own),))
    after = replace(after, steps=(after.steps[0], replace(after.steps[1], covariance=camera + own)))
    shift = clamp_shift(after, own)
    assert shift is not None
    assert (shift.azimuth_arcmin, shift.altitude_arcmin) == pytest.approx((1.5, -0.4), abs=1e-6)
    # the axis in the camera is in both and drops out: sqrt(2) x 0.1, about the vertical by 1 / cos 47.4 deg more
    assert shift.altitude_sigma_arcmin == pytest.approx(0.1414, abs=1e-3)
    assert shift.azimuth_sigma_arcmin == pytest.approx(0.1414 / np.cos(47.4 * DEG), abs=1e-3)


@pytest.mark.parametrize(
    ("first", "then", "turned"),
    [
        (False, False, (0.0, 0.0)),
        (True, True, (0.0, 0.0)),
        (False, True, (0.0, 0.0)),
        (True, False, None),
        (True, False, (0.1, 0.0)),
    ],
)
def test_no_shift_is_told_of_other_steps(first: bool, then: bool, turned: tuple[float, float] | None) -> None:
    after = seen((11.5, 4.6), then, seen((10.0, 5.0), first).steps)
    after = replace(after, steps=(after.steps[0], replace(after.steps[1], turned=turned)))
    assert clamp_shift(after, np.eye(2) * 1e-12) is None


def test_turn_seen_loose_teaches_the_gain_once_the_shift_is_known() -> None:
    # 50 arcmin for a turn, and the clamps eased: the axis is seen at 48.5, 0.4
    steps = night((0, 0, None), (48.5, 0.4, (1.0, 0.0)))
    steps[1] = replace(steps[1], is_loose=True)
    unknown = learn_response(steps, KNOB, KNOB, 0.8)
    assert unknown.turns_seen == 0
    base = replace(given_alignment((0.0, 0.0), Sky.over(SITE)), steps=tuple(steps))
    told = learn_response(tightened(base, SHIFT).steps, KNOB, KNOB, 0.8)
    assert told.turns_seen == 1
    assert told.matrix[0, 0] == pytest.approx(50.0, abs=0.5)


def test_expected_move_holds_the_shift() -> None:
    rig = Rig(
        Path("rig.toml"), OpticsTable(), CameraTable(), Guiding(), Mount(clamp_shift_arcmin=list(SHIFT)), None
    )
    loose, tight = seen((10.0, 5.0), loose=True), seen((10.0, 5.0), loose=False)
    assert expected_move(loose, rig, (0.0, 0.0), loose=False) == pytest.approx(SHIFT)
    assert expected_move(tight, rig, (0.0, 0.0), loose=True) == pytest.approx((-1.5, 0.4))
    assert expected_move(tight, rig, (0.0, 0.0), loose=False) == pytest.approx((0.0, 0.0))
