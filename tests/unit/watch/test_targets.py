"""The drift of a target, from frames as they come."""

from __future__ import annotations

from collections import deque
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from polarcheck.measurement.source import given_alignment
from polarcheck.watch.places import Place
from polarcheck.watch.targets import Targets, look_at_target
from tests.benchmarks.tracked_mounts import Session, frames_of


@pytest.mark.parametrize(("seconds", "told"), [(110.0, False), (130.0, True)])
def test_a_drift_is_told_of_two_minutes_and_more(seconds: float, told: bool) -> None:
    """Seeing and the drive's error make anything of less (common practice, no source)."""
    session = Session(hours=seconds / 3600, frames=5)
    frames = frames_of(session, np.random.default_rng(1)).frames
    found = look_at_target(
        Place(frames[0], 5, frames=deque(frames)), given_alignment(session.error_arcmin, session.sky)
    )
    assert found.frames == 5
    assert (found.seen_arcsec_per_min is not None) is told


@pytest.mark.parametrize(("since", "elongation"), [(24, 2.0), (26, 1.0)])
def test_stars_of_the_last_fifty_frames_count(since: int, elongation: float) -> None:
    """The median of 25 minutes of half a minute each: it tells how it is now (common practice, no source)."""
    now: Any = SimpleNamespace(note=lambda *_: None, finding=None)
    targets = Targets(now)
    place: Any = SimpleNamespace(first=SimpleNamespace(), count=1, is_due_for_a_look=False)
    for number in range(100 + since):
        frame: Any = SimpleNamespace(path=Path(f"light_{number:03d}.fits"))
        targets.count(frame, place)
        targets.see_stars(frame.path, 2.0 if number < 100 else 1.0)
    assert targets.look is not None
    assert targets.look.elongation == elongation
