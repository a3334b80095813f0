"""A sweep and the frames of a target in one folder: truth from the simulated mount, whose axis is known."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.frames import Frame, FrameSet
from polarcheck.measurement import Conditions
from polarcheck.measurement.measurement import Measurement, measure_frames
from tests.benchmarks.mounts import NORTH, Scene, Sweep
from tests.benchmarks.mounts import frames_of as swept
from tests.benchmarks.recovery import off_axis_arcmin
from tests.benchmarks.tracked_mounts import Session, frames_of

SWEEP = tuple(np.linspace(-60, 20, 8))
TARGET = Session(declination_deg=30, frames=12, hours=1.0, start_deg=-20, guided=True, noise_px=0.1)


def sweep(angles: tuple[float, ...] = SWEEP) -> list[Frame]:
    scene = Scene([Sweep(angles, 50.0)], NORTH, stars=0, start="2026-11-14T20:00:00", noise_px=0.1)
    return list(swept(scene, np.random.default_rng(1)).frames)


def target(frames: int = 12, hours: float = 1.0, guided: bool = True, dither_px: float = 0.0) -> list[Frame]:
    session = Session(
        declination_deg=30,
        frames=frames,
        hours=hours,
        start_deg=-20,
        guided=guided,
        noise_px=0.1,
        dither_px=dither_px,
    )
    return list(frames_of(session, np.random.default_rng(3)).frames)


def measured(frames: list[Frame], guided: bool | None = None) -> tuple[Measurement, set[str]]:
    found = measure_frames(FrameSet(tuple(frames), ()), conditions=Conditions(frames_guided=guided))
    return found, {notice.code for notice in found.notices}


@pytest.mark.parametrize("dither_px", [0.0, 10.0])
@pytest.mark.parametrize(("count", "hours"), [(3, 0.2), (4, 0.5), (12, 1.0)])
def test_guided_frames_beside_a_sweep_are_left_out_and_named(
    count: int, hours: float, dither_px: float
) -> None:
    """They say that the axis is perfect: 20 arcmin beside the truth, before they were left out."""
    found, codes = measured(sweep() + target(count, hours, dither_px=dither_px))
    assert "guided-left-out" in codes
    assert np.abs(off_axis_arcmin(found.axis, TARGET.axis)).max() < 0.2
    held = [e.name for e in found.left_out if e.reason == "its field stands still, as under a guider"]
    assert held == [f"light_{i:03d}.fits" for i in range(2, count + 1)]


def test_frames_that_drift_stay_with_the_sweep() -> None:
    found, codes = measured(sweep() + target(guided=False))
    assert "guided-left-out" not in codes
    assert len(found.used) == 20


def test_frames_of_which_is_said_that_no_guider_was_at_work_stay() -> None:
    _, codes = measured(sweep() + target(), guided=False)
    assert "guided-left-out" not in codes


def test_frames_that_drift_are_left_out_where_a_guider_is_said_to_have_been_at_work() -> None:
    found, codes = measured(sweep() + target(guided=False), guided=True)
    assert "guided-left-out" in codes
    assert len(found.used) == 8


@pytest.mark.parametrize(("hours", "left"), [(0.1, False), (0.25, True)])
def test_a_position_of_a_sweep_is_left_within_ten_minutes(hours: float, left: bool) -> None:
    """Common practice, no source: repeated frames of a position are no guided field."""
    _, codes = measured(sweep() + target(4, hours, guided=left))
    assert ("guided-left-out" in codes) is left


def test_guided_frames_without_a_sweep_are_as_before() -> None:
    _, codes = measured(target(37, 3.0))
    assert "guided" in codes and "guided-left-out" not in codes
