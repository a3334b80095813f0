"""What the page tells of a target: over which time, and from how many of its frames."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.digest.lights import light_frames
from polarcheck.digest.targets import seen_target
from polarcheck.measurement.source import given_alignment
from tests.benchmarks.tracked_mounts import Session, frames_of


@pytest.mark.parametrize(("count", "looked_at"), [(50, 50), (100, 60)])
def test_a_drift_is_told_for_ten_minutes_and_checked_on_sixty_frames(count: int, looked_at: int) -> None:
    """Ten minutes: a long exposure of a light telescope; sixty frames over a night show its bends (common practice,
    no source).
    """
    session = Session(hours=2.0, frames=count)
    (light,) = light_frames(frames_of(session, np.random.default_rng(1)).frames)
    told = seen_target(light, 0, given_alignment(session.error_arcmin, session.sky), None)
    assert told.drift is not None
    assert told.drift.seconds[-1] == 600.0
    assert told.seen is not None
    assert len(told.seen.names) == looked_at
    assert told.seen.seconds[-1] == pytest.approx(7200.0, abs=1.0)
