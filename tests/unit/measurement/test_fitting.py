"""Guided frames that show beside a sweep only: truth from the simulated mount, whose axis is known."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.errors import GeometryError
from polarcheck.frames import Frame, FrameSet
from polarcheck.measurement import Conditions
from polarcheck.measurement.measurement import Measurement, measure_frames
from tests.benchmarks.mounts import NORTH, Scene, Sweep
from tests.benchmarks.mounts import frames_of as swept
from tests.benchmarks.recovery import off_axis_arcmin
from tests.benchmarks.tracked_mounts import Session, frames_of

ERROR = (23.4, -11.8)
BEFORE, AFTER = "2026-11-14T20:00:00", "2026-11-15T00:30:00"  # the field's first frame is taken at 20:30
CORRECTED = (1.0, 0.5)


def sweep(count: int = 8, start: str = BEFORE) -> list[Frame]:
    angles = tuple(np.linspace(-60, 20, count))
    scene = Scene([Sweep(angles, 50.0)], NORTH, ERROR, stars=0, start=start)
    return list(swept(scene, np.random.default_rng(1)).frames)


def field(
    count: int, minutes: float, *, error: tuple[float, float] = ERROR, at: float = 30.0, guided: bool = True
) -> list[Frame]:
    session = Session(error, declination_deg=at, frames=count, hours=minutes / 60, guided=guided)
    return list(frames_of(session, np.random.default_rng(3)).frames)


def measured(frames: list[Frame], guided: bool | None = None) -> tuple[Measurement, set[str]]:
    ordered = tuple(sorted(frames, key=lambda frame: sum(frame.utc)))
    found = measure_frames(FrameSet(ordered, ()), conditions=Conditions(frames_guided=guided))
    return found, {notice.code for notice in found.notices}


def off_arcmin(found: Measurement, error: tuple[float, float] = ERROR) -> float:
    return float(np.abs(off_axis_arcmin(found.axis, Session(error).axis)).max())


@pytest.mark.parametrize("start", [BEFORE, AFTER], ids=["after the sweep", "before it"])
@pytest.mark.parametrize("declination", [30.0, 50.0], ids=["of a target", "where the sweep was"])
@pytest.mark.parametrize(("count", "minutes"), [(3, 4.0), (4, 6.0), (10, 9.0)])
def test_a_field_held_for_minutes_beside_a_sweep_is_left_out_and_named(
    count: int, minutes: float, declination: float, start: str
) -> None:
    """They were taken for a mount that had moved, refused, or moved the answer by five times its 95 % interval."""
    found, codes = measured(sweep(start=start) + field(count, minutes, at=declination))
    assert "guided-left-out" in codes
    assert not codes & {"mount-moved", "frames-disagree"}
    assert off_arcmin(found) < 0.3
    held = [e.name for e in found.left_out if e.reason == "its field stands still, as under a guider"]
    assert held == [f"light_{i:03d}.fits" for i in range(2, count + 1)]


@pytest.mark.parametrize("declination", [30.0, 50.0])
@pytest.mark.parametrize(("count", "minutes"), [(3, 4.0), (4, 6.0), (10, 9.0)])
def test_frames_repeated_without_a_guider_stay(count: int, minutes: float, declination: float) -> None:
    found, codes = measured(sweep() + field(count, minutes, at=declination, guided=False))
    assert "guided-left-out" not in codes
    assert len(found.used) == 8 + count


def test_frames_repeated_after_a_turn_of_a_knob_tell_the_axis_as_it_stands() -> None:
    """The field of a mount that is aligned now stands as still; but its first frame is beside the sweep's circle."""
    found, codes = measured(sweep() + field(4, 3.0, error=CORRECTED, at=50.0, guided=False))
    assert "mount-moved" in codes and "guided-left-out" not in codes
    assert off_arcmin(found, CORRECTED) < 1.0


@pytest.mark.parametrize("count", [4, 8])
@pytest.mark.parametrize(("lights", "hours"), [(40, 3.0), (80, 5.0)])
def test_a_sweep_among_a_night_of_guided_frames_is_the_answer(count: int, lights: int, hours: float) -> None:
    """By their rotation alone the guided frames tell it to 2 to 40 arcmin."""
    found, codes = measured(sweep(count) + field(lights, 60 * hours))
    assert "guided-left-out" in codes and "guided" not in codes
    assert off_arcmin(found) < 0.3
    assert len(found.used) == count


@pytest.mark.parametrize("after", [CORRECTED, (13.6, -6.8)])
def test_guided_frames_that_contradict_the_sweep_were_taken_after_a_turn_of_a_knob(
    after: tuple[float, float],
) -> None:
    """The smaller turn is one of four standard errors of what their rotation tells: 3 chances in 10,000."""
    found, codes = measured(sweep() + field(40, 180.0, error=after))
    assert "guided" in codes and "guided-left-out" not in codes
    assert off_arcmin(found) > 5
    off = np.abs(off_axis_arcmin(found.axis, Session(after).axis))
    wide = np.array([found.error.azimuth_95_arcmin, found.error.altitude_95_arcmin])
    assert (off < 2 * wide).all()


def test_wrong_frames_among_guided_ones_are_no_sweep() -> None:
    wrong = sweep(3)[:2]
    _, codes = measured(wrong + field(37, 180.0))
    assert "guided" in codes and "guided-left-out" not in codes


def test_what_is_said_of_a_guider_counts() -> None:
    frames = sweep() + field(4, 6.0)
    try:
        _, codes = measured(frames, guided=False)
    except GeometryError:
        codes = set()
    assert "guided-left-out" not in codes
    assert "guided-left-out" in measured(frames, guided=True)[1]


def test_without_a_sound_sweep_the_refusal_names_the_option() -> None:
    with pytest.raises(GeometryError, match="as under a guider") as refusal:
        measured(field(3, 20.0))
    assert refusal.value.parameters == ("frames_guided",)
