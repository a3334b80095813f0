"""A night told from its events: findings, what was advised and turned on each, where the mount stands now."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from polarcheck.alignment import Alignment
from polarcheck.followup import CorrectionSchema
from polarcheck.knobs import correct_knobs
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement import Measurement, MeasurementSchema, measure
from polarcheck.night.account import account_of, nights_of
from polarcheck.night.events import (
    AdviceEvent,
    MeasuredEvent,
    MovedEvent,
    RefusedEvent,
    TurnedEvent,
)
from polarcheck.times import add_seconds
from tests.commands import SAMPLES

HERE = Path("night")


@cache
def sweep() -> Measurement:
    return measure(SAMPLES / "north_sweep")


def measured(hour: str, names: str = "") -> MeasuredEvent:
    """A sweep that ends at that hour, of the same axis."""
    found = MeasurementSchema.of(sweep())
    ends = f"2026-11-{hour}:00:00.00Z"
    frames = [
        frame.model_copy(update={"file": names + frame.file, "mid_exposure_utc": f"{ends}{i}"})
        for i, frame in enumerate(found.frames)
    ]
    step = found.history[0].model_copy(update={"epoch_utc": ends})
    result = found.model_copy(update={"epoch_utc": ends, "frames": frames, "history": [step]})
    return MeasuredEvent(
        time_utc=f"2026-11-{hour}:00:00Z", version="1", inputs=["north_sweep"], rig=None, result=result
    )


def grown(event: MeasuredEvent, frames: slice) -> MeasuredEvent:
    """The same sweep with some of its frames."""
    result = event.result.model_copy(update={"frames": event.result.frames[frames]})
    return event.model_copy(update={"result": result})


def turned(hour: str, azimuth: float, altitude: float, as_told: bool = False) -> TurnedEvent:
    return TurnedEvent(
        time_utc=f"2026-11-{hour}:10:00Z", version="1", turned=[azimuth, altitude], as_told=as_told
    )


def advice(hour: str, alignment: Alignment, knob: KnobSpec = KnobSpec(gain=60.0)) -> AdviceEvent:  # noqa: B008
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


@pytest.mark.parametrize(
    ("seconds", "degrees", "is_known"),
    [(0.012, 0.0, True), (0.03, 0.0, False), (0.0, 0.7e-6, True), (0.0, 1.5e-6, False)],
)
def test_a_finding_is_known_by_all_that_its_file_keeps_of_it(
    seconds: float, degrees: float, is_known: bool
) -> None:
    """Times stand there to 0.01 s, so that two that were rounded otherwise differ by so much; of two sweeps of one
    axis none ends within 0.03 s of the other.
    """
    found = account_of([measured("14T21")], HERE)
    assert found.alignment is not None
    last = found.alignment.steps[-1]
    other = replace(last, utc=add_seconds(last.utc, seconds), altitude_deg=last.altitude_deg + degrees)
    assert found.knows(replace(found.alignment, steps=(other,))) == is_known


def test_a_night_is_told_by_its_frames_and_not_by_when_they_were_looked_at() -> None:
    """Frames of two nights may be measured one after the other; those of one night a day apart."""
    one, other = measured("14T21"), measured("16T21")
    assert len(nights_of([one, turned("14T22", 1.0, 0.0), other])) == 2
    late = measured("14T22").model_copy(update={"time_utc": "2026-11-20T12:00:00Z"})
    assert len(nights_of([one, late])) == 1
    assert nights_of([]) == ()


def test_a_sweep_that_grows_is_one_finding() -> None:
    whole = measured("14T21")
    told = account_of([grown(whole, slice(0, 4)), grown(whole, slice(0, 6)), whole], HERE)
    assert [step.frames for step in told.steps] == [len(sweep().used)]


def test_an_old_sweep_measured_again_does_not_undo_what_came_after() -> None:
    first, second = measured("14T21"), measured("14T22", "b")
    told = account_of([first, turned("14T21", 1.0, 0.0), second, first, grown(first, slice(2, 8))], HERE)
    assert len(told.steps) == 2
    assert told.alignment is not None
    assert told.alignment.utc == told.steps[1].utc
    assert told.steps[0].turned == (1.0, 0.0)


def test_the_last_sweep_measured_otherwise_keeps_what_was_said_of_it() -> None:
    whole = measured("14T21")
    told = account_of([whole, turned("14T21", 1.0, 0.0), grown(whole, slice(1, 8))], HERE)
    assert len(told.steps) == 1
    assert told.turned == (1.0, 0.0)


def test_a_sweep_measured_anew_goes_on_with_the_turns_of_the_night() -> None:
    """So that what the knobs did is learned without --after."""
    told = account_of([measured("14T21"), turned("14T21", 1.0, -0.5), measured("14T22")], HERE)
    assert told.alignment is not None
    assert [step.turned for step in told.alignment.steps] == [None, (1.0, -0.5)]
    assert [step.is_fresh for step in told.alignment.steps] == [True, True]


def test_nothing_goes_on_after_a_move_or_against_the_clock() -> None:
    moved = MovedEvent(time_utc="2026-11-14T21:30:00Z", version="1", reason="knocked")
    for between in ([moved], []):
        second = measured("14T22" if between else "14T20")
        told = account_of([measured("14T21"), *between, second], HERE).alignment
        assert told is not None
        assert len(told.steps) == 1


def test_turns_are_those_told_else_those_advised_else_unknown() -> None:
    whole = measured("14T21")
    found = account_of([whole], HERE)
    assert found.taken is None
    assert found.alignment is not None
    event = advice("14T21", found.alignment)
    advised = account_of([whole, event], HERE).taken
    assert advised is not None
    moves = {move.knob: move for move in event.result.moves}
    # the axis is too far east and too low; a clockwise turn moves it clockwise seen from above, and up
    assert advised == pytest.approx((-(moves["azimuth"].turns or 0), moves["altitude"].turns or 0))
    assert account_of([whole, event, turned("14T21", 0.25, 0.0)], HERE).taken == (0.25, 0.0)
    assert account_of([whole, advice("14T21", found.alignment, KnobSpec())], HERE).taken is None


def test_a_finding_is_known_again() -> None:
    found = account_of([measured("14T21")], HERE)
    assert found.alignment is not None
    assert found.knows(found.alignment)
    assert not found.knows(replace(found.alignment, steps=()))
    assert not account_of([measured("14T22")], HERE).knows(found.alignment)


def test_after_the_mount_was_moved_nobody_knows_how_it_stands() -> None:
    moved = MovedEvent(time_utc="2026-11-14T21:30:00Z", version="1", reason="knocked")
    refused = RefusedEvent(time_utc="2026-11-14T21:31:00Z", version="1", inputs=["a"], reason="cloud")
    told = account_of([measured("14T21"), moved, refused], HERE)
    assert told.alignment is None
    assert told.refused == 1
    assert len(told.steps) == 1


@pytest.mark.parametrize(("later", "nights"), [("14T20", 1), ("14T22", 2)])
def test_twelve_hours_part_two_nights(later: str, nights: int) -> None:
    """From 9 h to 20 h is one polar night's work, to 22 h another's (common practice, no source)."""
    assert len(nights_of([measured("14T09"), measured(later)])) == nights
