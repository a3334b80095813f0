"""Frames from before a finding: copies that come late, or a clock that was set back."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from polarcheck.times import add_seconds, utc_from_iso
from polarcheck.watch.fields import Shown
from polarcheck.watch.late import LateFrames

FOUND = utc_from_iso("2026-11-14T21:00:00")
ALIGNMENT: Any = SimpleNamespace(steps=[SimpleNamespace(utc=FOUND, azimuth_deg=0.2, altitude_deg=-0.1)])


def frame(before_s: float) -> Any:
    return SimpleNamespace(utc=add_seconds(FOUND, -before_s))


def seen(moved_arcmin: float, sigma_arcmin: float = 0.05) -> Shown:
    return Shown((moved_arcmin, 0.0), moved_arcmin, sigma_arcmin, 0.0, 0.0, np.eye(2), 10.0, 0.0)


def test_three_frames_in_a_row_tell_of_a_clock_that_was_set_back() -> None:
    """A copy or two come late from a slow drive; a camera that goes on taking frames does not."""
    late = LateFrames()
    assert [late.tell_set_back(ALIGNMENT, frame(b), seen(0.1)) for b in (300, 240, 180)] == [
        False,
        False,
        True,
    ]


def test_copies_of_a_sweep_that_come_in_a_row_after_the_turn_are_copies() -> None:
    """They show the axis where it was at their time, half a degree from where it is now: no clock makes that."""
    before = SimpleNamespace(utc=add_seconds(FOUND, -120), azimuth_deg=0.7, altitude_deg=-0.1)
    alignment: Any = SimpleNamespace(steps=[before, *ALIGNMENT.steps])
    late = LateFrames()
    assert not any(late.tell_set_back(alignment, frame(b), seen(30.0)) for b in (300, 240, 180, 130))


@pytest.mark.parametrize(
    ("moved_arcmin", "sigma_arcmin", "set_back"),
    [(0.9, 0.05, False), (1.1, 0.05, True), (2.5, 0.5, False), (3.5, 0.5, True)],
)
def test_a_late_frame_shows_the_axis_where_it_was(
    moved_arcmin: float, sigma_arcmin: float, set_back: bool
) -> None:
    """Within six sigmas, or an arcmin that a tripod may settle by (common practice, no source)."""
    told = LateFrames().tell_set_back(ALIGNMENT, frame(300), seen(moved_arcmin, sigma_arcmin))
    assert told is set_back
