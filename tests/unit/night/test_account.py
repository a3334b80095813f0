"""A night told from its events: findings, what was advised and turned on each, where the mount stands now."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from polarcheck.alignment import Alignment
from polarcheck.followup import CorrectionSchema
from polarcheck.knobs import correct_knobs
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement import Measurement, MeasurementSchema, measure
from polarcheck.night.account import account_of
from polarcheck.night.events import (
    AdviceEvent,
    MeasuredEvent,
    MovedEvent,
    RefusedEvent,
    TurnedEvent,
)
from tests.commands import SAMPLES

HERE = Path("night")


@cache
def sweep() -> Measurement:
    return measure(SAMPLES / "north_sweep")


def measured(hour: str) -> MeasuredEvent:
    return MeasuredEvent(
        time_utc=f"2026-11-{hour}:00:00Z",
        version="1",
        inputs=["north_sweep"],
        rig=None,
        result=MeasurementSchema.of(sweep()),
    )


def turned(hour: str, azimuth: float, altitude: float, as_told: bool = False) -> TurnedEvent:
    return TurnedEvent(
        time_utc=f"2026-11-{hour}:10:00Z", version="1", turned=[azimuth, altitude], as_told=as_told
    )


def advice(hour: str, alignment: Alignment) -> AdviceEvent:
    knob = KnobSpec(gain=60.0)
    found = correct_knobs(alignment, (knob, knob))
    return AdviceEvent(
        time_utc=f"2026-11-{hour}:05:00Z", version="1", rig=None, result=CorrectionSchema.of(found)
    )


def test_no_events_are_an_empty_night() -> None:
    empty = account_of([], HERE)
    assert (empty.steps, empty.alignment, empty.turned) == ((), None, None)


def test_the_mount_stands_as_the_last_finding_says() -> None:
    told = account_of([measured("14T21")], HERE)
    assert told.alignment is not None
    assert told.alignment.error.total_arcmin == pytest.approx(sweep().error.total_arcmin, abs=1e-9)
    assert told.steps[0].frames == len(sweep().used)
    assert told.steps[0].is_fresh
    assert told.turned is None


def test_advice_and_turns_belong_to_the_finding_before_them() -> None:
    first = account_of([measured("14T21")], HERE).alignment
    assert first is not None
    told = account_of(
        [
            measured("14T21"),
            advice("14T21", first),
            turned("14T21", -0.4, 0.2, as_told=True),
            measured("14T22"),
        ],
        HERE,
    )
    assert told.steps[0].advice is not None
    assert told.steps[0].turned == (-0.4, 0.2)
    assert told.steps[0].as_told
    assert told.steps[1].turned is None
    assert told.turned is None


def test_turns_after_one_finding_add_up_and_are_no_longer_as_told() -> None:
    told = account_of(
        [measured("14T21"), turned("14T21", -0.4, 0.2, as_told=True), turned("14T22", 0.1, 0.0)], HERE
    )
    assert told.turned == pytest.approx((-0.3, 0.2))
    assert not told.steps[0].as_told


def test_a_day_later_another_night_begins() -> None:
    told = account_of([measured("14T21"), turned("14T21", 1.0, 1.0), measured("15T20")], HERE)
    assert len(told.steps) == 1
    assert told.turned is None
    assert len(account_of([measured("14T21"), measured("15T03")], HERE).steps) == 2


def test_after_the_mount_was_moved_nobody_knows_how_it_stands() -> None:
    moved = MovedEvent(time_utc="2026-11-14T21:30:00Z", version="1", reason="knocked")
    refused = RefusedEvent(time_utc="2026-11-14T21:31:00Z", version="1", inputs=["a"], reason="cloud")
    told = account_of([measured("14T21"), moved, refused], HERE)
    assert told.alignment is None
    assert told.refused == 1
    assert len(told.steps) == 1
