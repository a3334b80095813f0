"""What is said of mistakes that people make while they sweep, and of what so few frames cannot show."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.errors import Notice
from polarcheck.frames import Frame, FrameSet
from polarcheck.measurement.measurement import Measurement, measure_frames
from tests.benchmarks.mounts import Scene, Sweep, frames_of

ANGLES = (-30.0, -15.0, 0.0, 15.0, 30.0, 45.0)


def frames(error: tuple[float, float], count: int, start: str, seed: int) -> list[Frame]:
    scene = Scene([Sweep(ANGLES[:count])], error_arcmin=error, noise_px=0.05, stars=0, start=start)
    return [
        replace(f, name=f"{start[11:16]}_{f.name}")
        for f in frames_of(scene, np.random.default_rng(seed)).frames
    ]


def measured(offered: list[Frame]) -> Measurement:
    return measure_frames(FrameSet(tuple(offered), ()))


def notice(result: Measurement, code: str) -> Notice | None:
    return next((notice for notice in result.notices if notice.code == code), None)


def test_three_positions_say_that_their_places_check_nothing() -> None:
    three, four = (measured(frames((23.4, -11.8), count, "2026-11-14T20:30:00", 1)) for count in (3, 4))
    told = notice(three, "three-positions")
    assert told is not None and "A fourth position" in told.text
    assert notice(four, "three-positions") is None


def test_last_frame_after_a_knob_turn_is_told_with_the_move_that_it_speaks_for() -> None:
    # 30 arcmin in azimuth and 15 in altitude: 25.3 on the sky
    offered = (
        frames((23.4, -11.8), 5, "2026-11-14T20:30:00", 1)
        + frames((53.4, 3.2), 2, "2026-11-14T20:45:00", 2)[1:]
    )
    told = notice(measured(offered), "newest-frames-differ")
    assert told is not None
    moved = float(told.text.partition("moved by about ")[2].split()[0])
    assert moved == pytest.approx(25.3, abs=3)  # one frame's roll tells an arcminute or two


@pytest.mark.parametrize("hours", [1, -1])
def test_clock_that_was_set_by_an_hour_is_named(hours: int) -> None:
    good = frames((53.4, -31.8), 6, "2026-11-14T20:30:00", 1)
    offered = good[:3] + [replace(f, utc=(f.utc[0], f.utc[1] + hours / 24)) for f in good[3:]]
    assert notice(measured(sorted(offered, key=lambda frame: sum(frame.utc))), "clock-jump") is not None


def test_a_turn_of_a_knob_is_no_clock() -> None:
    offered = frames((23.4, -11.8), 3, "2026-11-14T20:30:00", 1) + frames(
        (3.4, 3.2), 3, "2026-11-14T20:45:00", 2
    )
    result = measured(offered)
    assert notice(result, "mount-moved") is not None
    assert notice(result, "clock-jump") is None


def test_a_move_before_the_frame_taken_back_is_not_a_creep_in_silence() -> None:
    first = frames((23.4, -11.8), 3, "2026-11-14T20:30:00", 1)
    for moved in (
        (1.5, 4.0),
        (-2.4, 3.0),
    ):  # a small turn of both knobs, then one frame at the first position
        last = frames((23.4 + moved[0], -11.8 + moved[1]), 2, "2026-11-14T20:38:00", 2)[:1]
        result = measured(first + last)
        assert {"much-creep", "mount-moved", "newest-frames-differ", "several-groups", "frames-disagree"} & {
            notice.code for notice in result.notices
        }
    back = frames((23.4, -11.8), 2, "2026-11-14T20:38:00", 2)[:1]
    assert notice(measured(first + back), "much-creep") is None
