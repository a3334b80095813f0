"""The night's file under torn lines, foreign lines, links, and a program that dies while it writes."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.night.events import MovedEvent, TurnedEvent
from polarcheck.night.log import NIGHT_FILE, NightLog

TIME = "2026-11-14T21:00:00Z"


def turned(azimuth: float) -> TurnedEvent:
    return TurnedEvent(time_utc=TIME, version="1", turned=[azimuth, 0.0], as_told=False)


def test_what_is_appended_is_read_in_order(tmp_path: Path) -> None:
    log = NightLog(tmp_path)
    assert log.read().events == ()
    for azimuth in (0.25, -0.5):
        log.append(turned(azimuth))
    log.append(MovedEvent(time_utc=TIME, version="1", reason="the tripod was knocked"))
    record = NightLog(tmp_path).read()
    assert [event.event for event in record.events] == ["turned", "turned", "moved"]
    assert record.events[0] == turned(0.25)
    assert record.damaged == ()


def test_every_line_is_json_of_its_own_in_ascii(tmp_path: Path) -> None:
    log = NightLog(tmp_path)
    log.append(MovedEvent(time_utc=TIME, version="1", reason="Stativ gestoßen\n\x1b[31m"))
    (line,) = (tmp_path / NIGHT_FILE).read_bytes().splitlines()
    assert line.isascii()
    assert json.loads(line)["schema"] == "polarcheck.event/1"


@pytest.mark.parametrize("cut", [1, 20, -1])
def test_a_torn_last_line_costs_that_line_and_no_other(tmp_path: Path, cut: int) -> None:
    log = NightLog(tmp_path)
    log.append(turned(0.25))
    log.append(turned(0.5))
    content = log.path.read_bytes()
    second = content.index(b"\n") + 1
    end = len(content) - 1 if cut == -1 else second + cut
    log.path.write_bytes(content[:end])
    log.append(turned(0.75))
    record = log.read()
    kept = [0.25, 0.5, 0.75] if cut == -1 else [0.25, 0.75]
    assert [event.turned[0] for event in record.events if isinstance(event, TurnedEvent)] == kept
    assert record.damaged == (() if cut == -1 else (2,))
    said = record.notices("night")
    assert [notice.code for notice in said] == ([] if cut == -1 else ["night-damaged"])


@pytest.mark.parametrize(
    "line",
    [
        b"{}",
        b"[1, 2]",
        b"\xff\xfe\x00",
        b'{"schema": "polarcheck.event/2", "event": "turned"}',
        b'{"schema": "polarcheck.event/1", "event": "danced", "time_utc": "x", "version": "1"}',
        b"[" * 100_000,
        b'{"schema": "polarcheck.event/1", "event": "turned", "time_utc": "x", "version": "1", "turned": [1e999, 0], '
        b'"as_told": true}',
    ],
)
def test_foreign_lines_are_passed_over_and_told(tmp_path: Path, line: bytes) -> None:
    log = NightLog(tmp_path)
    log.append(turned(0.25))
    with log.path.open("ab") as file:
        file.write(line + b"\n")
    log.append(turned(0.5))
    record = log.read()
    assert len(record.events) == 2
    assert record.damaged == (2,)


def test_nothing_is_written_through_a_link(tmp_path: Path) -> None:
    frame = tmp_path / "frame.fits"
    frame.write_bytes(b"SIMPLE")
    try:
        (tmp_path / NIGHT_FILE).symlink_to(frame)
    except OSError:
        pytest.skip("no links here")
    with pytest.raises(InputError, match="link"):
        NightLog(tmp_path).append(turned(0.25))
    assert frame.read_bytes() == b"SIMPLE"


def test_a_folder_in_its_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / NIGHT_FILE).mkdir()
    with pytest.raises(InputError):
        NightLog(tmp_path).append(turned(0.25))
    with pytest.raises(InputError):
        NightLog(tmp_path).read()


WRITER = """
import sys
from pathlib import Path
from polarcheck.night.events import MovedEvent
from polarcheck.night.log import NightLog
log = NightLog(Path(sys.argv[1]))
print("ready", flush=True)
for i in range(100000):
    log.append(MovedEvent(time_utc="2026-11-14T21:00:00Z", version="1", reason=f"{i} " + "x" * 20000))
    print(i, flush=True)
"""


def killed_after(folder: Path, seconds: float) -> int:
    """Number of the last event that a writer told before it was killed; -1 if it told none."""
    command = [sys.executable, "-c", WRITER, str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        time.sleep(seconds)
        writer.kill()
        told = writer.stdout.read().split()
    return int(told[-1]) if told else -1


def test_a_writer_that_is_killed_loses_one_event_at_most(tmp_path: Path) -> None:
    rng = random.Random(1)
    for trial in range(5):
        folder = tmp_path / str(trial)
        folder.mkdir()
        last = killed_after(folder, rng.uniform(0.0, 0.05))
        log = NightLog(folder)
        log.append(turned(0.25))
        record = log.read()
        assert record.events[-1] == turned(0.25)
        assert len(record.events) - 1 >= last + 1  # whatever was told to be written is there
        assert len(record.damaged) <= 1


def moved_for(reason: str) -> MovedEvent:
    return MovedEvent(time_utc="2026-11-14T21:00:00Z", version="1", reason=reason)


def test_a_line_is_as_long_as_a_kept_result_may_be(tmp_path: Path) -> None:
    """64 MB, the largest result that is read back: what could be measured can be written down."""
    log = NightLog(tmp_path)
    log.append(moved_for("x" * 40_000_000))
    (event,) = log.read().events
    assert isinstance(event, MovedEvent)
    assert len(event.reason) == 40_000_000
    with pytest.raises(InputError, match="too large"):
        log.append(moved_for("x" * 64_000_000))


def test_a_file_is_no_longer_than_can_be_read(tmp_path: Path) -> None:
    """Half a gigabyte: a small board's memory. The file has holes, so that it takes no room on the disk."""
    log = NightLog(tmp_path)
    with log.path.open("wb") as file:
        file.truncate(400_000_000)
    log.append(moved_for("still room"))
    with log.path.open("ab") as file:
        file.truncate(512_000_000)
    with pytest.raises(InputError, match="too large"):
        log.append(moved_for("no more room"))
    with log.path.open("ab") as file:
        file.truncate(512_000_001)
    with pytest.raises(InputError, match="too large"):
        log.read()
