"""What is said of guided frames, of contradictions, and of frames too few."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.errors import GeometryError
from polarcheck.measurement.conditions import Conditions
from polarcheck.measurement.measurement import measure_frames
from polarcheck.measurement.result import Measurement
from tests.benchmarks.tracked_mounts import Session, frames_of

GUIDED = Session(hours=3.0, frames=37, guided=True)


def measured(session: Session, guided: bool | None = None) -> Measurement:
    frames = frames_of(session, np.random.default_rng(1))
    return measure_frames(frames, conditions=Conditions(frames_guided=guided))


def codes(result: Measurement) -> list[str]:
    return [notice.code for notice in result.notices]


def test_guiding_is_said_with_the_parameter_that_says_otherwise() -> None:
    result = measured(GUIDED)
    notice = next(notice for notice in result.notices if notice.code == "guided")
    assert notice.parameters == ("frames_guided",)
    assert result.next_step is None


def test_nothing_is_said_of_plain_tracking() -> None:
    assert codes(measured(replace(GUIDED, guided=False))) == []


def test_a_slow_field_may_be_guided_unless_said_otherwise() -> None:
    # an axis 0.6 arcmin off drifts by up to 10 arcsec an hour, like a field whose guide scope bends
    session = replace(GUIDED, guided=False, hours=2.0, error_arcmin=(0.6, -0.5))
    assert codes(measured(session)) == ["may-be-guided"]
    assert codes(measured(session, guided=False)) == []


def test_guided_frames_that_cannot_tell_are_refused_as_such() -> None:
    with pytest.raises(GeometryError, match="guider") as refusal:
        measured(replace(GUIDED, hours=0.5, frames=10))
    assert refusal.value.parameters == ("frames_guided",)


def test_frames_said_to_be_guided_are_taken_so() -> None:
    # unguided ones too: their rotation alone is true, if coarse
    session = replace(GUIDED, guided=False)
    result = measured(session, guided=True)
    assert "guided" in codes(result)
    assert result.error.azimuth_sigma_arcmin > 10 * measured(session).error.azimuth_sigma_arcmin


def test_frames_said_not_to_be_guided_are_taken_so() -> None:
    assert "guided" not in codes(measured(GUIDED, guided=False))
