"""The drift of a target, from frames as they come."""

from __future__ import annotations

from collections import deque

import numpy as np
import pytest

from polarcheck.measurement.source import given_alignment
from polarcheck.watch.places import Place
from polarcheck.watch.targets import look_at_target
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
