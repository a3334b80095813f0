"""Results become events of the night's file, which later commands read back; a file that cannot be is no fault."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import pytest

from polarcheck.followup import Followed, follow_frames
from polarcheck.frames import read_frames
from polarcheck.knobs import correct_knobs
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement import Measurement, measure
from polarcheck.night.account import account_of
from polarcheck.night.book import NightBook
from polarcheck.night.events import FollowedEvent, MeasuredEvent, TurnedEvent
from polarcheck.night.log import NIGHT_FILE, NightLog
from tests.commands import SAMPLES

TIME = "2026-11-14T21:00:00Z"
AFTER = sorted((SAMPLES / "after_correction").glob("*.fz"))[:1]


@cache
def sweep() -> Measurement:
    return measure(SAMPLES / "north_sweep")


@cache
def after() -> Followed:
    return follow_frames(sweep().alignment, read_frames(AFTER))


def book(folder: Path) -> NightBook:
    return NightBook(folder, clock=lambda: TIME)


def test_a_night_is_written_and_read_back(tmp_path: Path) -> None:
    pen, knob = book(tmp_path), KnobSpec(gain=60.0)
    told = correct_knobs(sweep().alignment, (knob, knob))
    events = [
        pen.measured(sweep(), [tmp_path]),
        pen.advice(told),
        pen.turned((-0.4, 0.2), as_told=True),
        pen.followed(after(), AFTER),
        pen.refused("no stars\x1b[31m", [tmp_path / "cloud.fits"]),
        pen.checked([tmp_path / "light.fits"], 1, (0.5, -0.25), 1.2),
        pen.moved("the tripod was knocked"),
    ]
    assert pen.write(*events) == ()
    assert pen.path == tmp_path / NIGHT_FILE
    assert NightLog(tmp_path).read().events == tuple(events)
    assert events[4].reason == "no stars\\x1b[31m"
    assert all(event.time_utc == TIME for event in events)


def test_inputs_are_named_as_seen_from_the_folder(tmp_path: Path) -> None:
    elsewhere = tmp_path.parent / "elsewhere.fits"
    named = book(tmp_path).refused("clouds", [tmp_path, tmp_path / "a" / "b.fits", elsewhere])
    assert named.inputs == [".", "a/b.fits", str(elsewhere)]


def test_the_computers_clock_gives_the_time(tmp_path: Path) -> None:
    """ISO 8601 in UTC, to the hundredth of a second, as every time in the program."""
    first, second = (NightBook(tmp_path).moved("x").time_utc for _ in range(2))
    assert len(first) == len("2026-11-14T21:00:00.00Z")
    assert first <= second


def test_the_mount_stands_as_the_last_event_says(tmp_path: Path) -> None:
    pen = book(tmp_path)
    pen.write(pen.measured(sweep(), [tmp_path]), pen.followed(after(), AFTER))
    now = account_of(NightLog(tmp_path).read().events, tmp_path).alignment
    assert now is not None
    assert now.error.total_arcmin == pytest.approx(after().alignment.error.total_arcmin, abs=1e-9)
    assert now.last_file is not None
    assert any(path.samefile(AFTER[0]) for path in now.last_file.paths if path.exists())


def test_the_same_finding_again_is_not_written_again(tmp_path: Path) -> None:
    pen = book(tmp_path)
    for _ in range(3):
        pen.write(pen.measured(sweep(), [tmp_path]))
    assert len(NightLog(tmp_path).read().events) == 1
    pen.write(pen.turned((1.0, 0.0)), pen.measured(sweep(), [tmp_path]))
    pen.write(pen.followed(after(), AFTER), pen.measured(sweep(), [tmp_path]))
    kinds = [type(event) for event in NightLog(tmp_path).read().events]
    assert kinds == [MeasuredEvent, TurnedEvent, FollowedEvent, MeasuredEvent]


def test_turns_that_were_made_twice_are_written_twice(tmp_path: Path) -> None:
    pen = book(tmp_path)
    pen.write(pen.turned((0.5, 0.0)), pen.turned((0.5, 0.0)))
    assert len(NightLog(tmp_path).read().events) == 2


def test_a_night_that_cannot_be_kept_is_told(tmp_path: Path) -> None:
    gone = book(tmp_path / "removed")
    (notice,) = gone.write(gone.moved("x"), gone.moved("y"))
    assert notice.code == "night-not-kept"
    assert NIGHT_FILE in notice.text
    (tmp_path / NIGHT_FILE).mkdir()
    assert [told.code for told in book(tmp_path).write(gone.moved("x"))] == ["night-not-kept"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full here")
def test_a_full_disk_is_told_and_leaves_the_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pen = book(tmp_path)
    pen.write(pen.moved("before"))
    was = pen.path.read_bytes()
    full = os.open("/dev/full", os.O_WRONLY)
    monkeypatch.setattr("os.fsync", lambda handle: os.write(full, b"x"))
    assert [told.code for told in pen.write(pen.moved("now"))] == ["night-not-kept"]
    os.close(full)
    assert pen.path.read_bytes().startswith(was)
    assert NightLog(tmp_path).read().damaged == ()


def test_of_more_than_a_thousand_files_a_thousand_are_named(tmp_path: Path) -> None:
    """What a frame counted for stands in the result; the list is for the reader's eye."""
    named = book(tmp_path).refused("clouds", [tmp_path / f"{k}.fits" for k in range(1002)])
    assert len(named.inputs) == 1000
    assert named.inputs[-1] == "999.fits"
