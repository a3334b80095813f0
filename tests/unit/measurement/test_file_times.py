"""Frames dated in the future, or hours away from their own files, are said."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from polarcheck.frames import Frame, read_frame
from polarcheck.measurement.file_times import file_time_notices
from tests.fits_files import write_image

TAKEN_S = 1794686400.0  # 2026-11-14 20:00:00 UTC, by the Unix count (`date -u -d @1794686400`)


def night(folder: Path, written_after_s: float, jitter_s: float = 0.0, every_s: float = 120.0) -> list[Frame]:
    """Five frames, each file written some seconds after its middle."""
    found = []
    for i in range(5):
        path = write_image(folder / f"{i}.fits", DATE__OBS="2026-11-14T20:00:00", EXPTIME=0.0)
        frame = read_frame(path)
        taken = TAKEN_S + i * every_s
        os.utime(path, (taken, taken + written_after_s + (i % 2) * jitter_s))
        found.append(replace(frame, utc=(frame.utc[0], frame.utc[1] + i * every_s / 86400)))
    return found


def codes(frames: list[Frame], now_s: float) -> list[str]:
    return [notice.code for notice in file_time_notices(frames, now_s)]


@pytest.mark.parametrize(
    ("ahead_s", "expected"), [(450.0, []), (1150.0, ["clock-future"]), (7200.0, ["clock-future"]), (-1e7, [])]
)
def test_frames_dated_in_the_future_are_said(tmp_path: Path, ahead_s: float, expected: list[str]) -> None:
    frames = night(tmp_path, 20.0)
    assert codes(frames, TAKEN_S + 480.0 - ahead_s) == expected


def test_future_says_by_how_much_and_how_many(tmp_path: Path) -> None:
    (notice,) = file_time_notices(night(tmp_path, 20.0), TAKEN_S + 480.0 - 7200.0)
    assert "5 of 5 frames are dated in the future, by up to 2.0 h" in notice.text


@pytest.mark.parametrize(
    ("hours", "word"),
    [(1.0, "behind"), (2.0, "behind"), (-2.0, "ahead of"), (5.5, "behind"), (-11.0, "ahead of")],
)
def test_files_written_steadily_hours_off_are_said(tmp_path: Path, hours: float, word: str) -> None:
    (notice,) = file_time_notices(night(tmp_path, hours * 3600 + 8.0), TAKEN_S + 1e6)
    assert notice.code == "clock-file-time"
    assert f"{word} UTC" in notice.text


@pytest.mark.parametrize(
    "settings",
    [
        {"written_after_s": 8.0},
        {"written_after_s": 600.0},
        {"written_after_s": 1800.0},  # one long exposure, or a slow download
        {"written_after_s": 20 * 3600.0},  # no time zone is so far off
        {"written_after_s": 3 * 86400.0},  # downloaded in one order days later
        {"written_after_s": 7200.0, "jitter_s": 100.0},
        {"written_after_s": 7200.0, "every_s": 20.0},  # so short that a copy would look the same
    ],
)
def test_files_in_time_copied_or_too_few_to_tell_are_not(tmp_path: Path, settings: dict[str, float]) -> None:
    assert codes(night(tmp_path, **settings), TAKEN_S + 1e7) == []


@pytest.mark.parametrize(("span_s", "jitter_s", "told"), [(200, 0, False), (300, 0, True), (480, 45, True)])
def test_four_minutes_tell_a_camera_from_a_copy(
    tmp_path: Path, span_s: int, jitter_s: int, told: bool
) -> None:
    """A card is copied in a minute or two; a camera stores each frame within a minute (common practice, no source)."""
    frames = night(tmp_path, 7208.0, jitter_s, span_s / 4)
    assert (codes(frames, TAKEN_S + 1e7) == ["clock-file-time"]) is told


def test_of_a_long_night_a_hundred_files_are_asked_for_their_times(tmp_path: Path) -> None:
    """Each costs some milliseconds on a network drive (common practice, no source)."""
    frame, asked = night(tmp_path, 8.0)[0], []

    class Asked(type(frame.path)):  # type: ignore[misc]
        def stat(self, **_: object) -> os.stat_result:
            asked.append(self)
            return Path(str(self)).stat()

    file_time_notices([replace(frame, path=Asked(frame.path))] * 1000, TAKEN_S + 1e6)
    assert 60 < len(asked) < 150


def test_copy_made_at_once_hours_later_is_not_said(tmp_path: Path) -> None:
    frames = night(tmp_path, 0.0)
    for frame in frames:
        os.utime(frame.path, (TAKEN_S + 7200, TAKEN_S + 7200))
    assert codes(frames, TAKEN_S + 1e6) == []
