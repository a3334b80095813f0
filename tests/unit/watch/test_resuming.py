"""A watch that begins again goes on with this night, and not with the last one."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.night import NightLog
from polarcheck.watch.resuming import night_so_far
from tests.unit.night.test_account import measured


@pytest.mark.parametrize(
    ("now", "goes_on"), [("2026-11-15T08:00:00Z", True), ("2026-11-15T10:00:00Z", False)]
)
def test_after_twelve_hours_without_an_event_another_night_begins(
    tmp_path: Path, now: str, goes_on: bool
) -> None:
    """Common practice, no source. The event is of 21 h."""
    log = NightLog(tmp_path)
    log.append(measured("14T21"))
    found, notices = night_so_far(log, now)
    assert (found is not None) is goes_on
    assert notices == ()
