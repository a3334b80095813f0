"""What is said of mistakes that people make while they sweep, and of what so few frames cannot show."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis import Creep
from polarcheck.errors import Notice
from polarcheck.frames import Frame, FrameSet
from polarcheck.measurement.measurement import measure_frames
from polarcheck.measurement.result import Measurement
from polarcheck.measurement.sweep_verdicts import creep_notice, sweep_notices
from polarcheck.vectors import unit
from tests.benchmarks.mounts import Scene, Sweep, frames_of
from tests.helpers import ARCSEC, DEG

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


@pytest.mark.parametrize(("times", "told"), [(1.2, False), (1.8, True)])
def test_creep_of_half_as_much_again_as_the_allowance_may_as_well_be_a_knob(times: float, told: bool) -> None:
    """Less is what tripods and cables do (common practice, no source); two standard errors of it may be noise."""
    allowed = 5 * ARCSEC
    creep = Creep(times * allowed + 2 * ARCSEC, ARCSEC)
    assert (creep_notice(creep, allowed) is not None) is told


@pytest.mark.parametrize(("off_deg", "told"), [(2.0, True), (4.5, False)])
def test_last_frame_far_off_was_solved_wrongly_and_is_no_move(off_deg: float, told: bool) -> None:
    """Knobs reach two or three degrees (common practice, no source): what is further off is no move of the mount."""
    misfit = np.zeros((5, 2))
    misfit[-1, 0] = off_deg * DEG
    fit = SimpleNamespace(
        axis=POLE,
        turns=None,
        groups=np.zeros(5, int),
        used=np.arange(5) < 4,
        station=np.arange(5),
        degrees_of_freedom=6,
        slow_change=None,
        solution=SimpleNamespace(misfit=misfit),
        attitudes=SimpleNamespace(matrices=np.tile(np.eye(3), (5, 1, 1))),
        camera_axes=np.array([POLE]),
    )
    sample = SimpleNamespace(
        camera=np.zeros(5, int), frames=[SimpleNamespace(name=f"{i}.fits") for i in range(5)]
    )
    found = sweep_notices(sample, fit, POLE)  # type: ignore[arg-type]
    assert [told.code for told in found] == (["newest-frames-differ"] if told else [])


POLE = np.array([0.0, np.cos(0.8), np.sin(0.8)])


def told_of_a_clock(
    hours: float, round_arcmin: float, beside_arcmin: float, sigma_arcmin: float
) -> str | None:
    """What is said where the axis went round the pole by some hours, by so much, and beside that by some more."""
    angle = hours * 15.041 * DEG
    off = abs(round_arcmin / (2 * np.sin(angle / 2)) * 60 * ARCSEC)
    now = unit(POLE + off * np.array([1.0, 0.0, 0.0]))
    before = Rotation.from_rotvec(-POLE * angle).apply(now)
    away = unit(before - POLE)
    before = unit(before + beside_arcmin * 60 * ARCSEC * away)
    fit = SimpleNamespace(
        axis=now,
        covariance=np.eye(2) * (sigma_arcmin * 60 * ARCSEC) ** 2,
        turns=SimpleNamespace(axis_before=lambda _: before),
        groups=np.zeros(5, int),
        used=np.ones(5, bool),
        station=np.arange(5),
        degrees_of_freedom=8,
        slow_change=None,
    )
    found = sweep_notices(SimpleNamespace(camera=np.zeros(5, int)), fit, POLE)  # type: ignore[arg-type]
    return next((told.text for told in found if told.code == "clock-jump"), None)


@pytest.mark.parametrize("hours", [1, 2, 7, 12, -1, -5])
def test_clock_that_was_set_by_whole_hours_is_named(hours: int) -> None:
    said = told_of_a_clock(hours, 60.0, 0.0, 0.1)
    assert said is not None
    assert f"a clock set by {abs(hours)} h" in said


@pytest.mark.parametrize(("sigmas", "told"), [(3.0, False), (4.0, True)])
def test_move_by_less_than_noise_is_no_clock(sigmas: float, told: bool) -> None:
    """Two axes of 2 arcmin each: 2.8 together; in a plane noise goes beyond 3 of these once in 90, beyond 4 in 3000."""
    assert (told_of_a_clock(1, 2.83 * sigmas, 0.0, 2.0) is not None) is told


@pytest.mark.parametrize(("sigmas", "told"), [(2.0, True), (2.9, False)])
def test_move_beside_the_way_round_the_pole_is_no_clock(sigmas: float, told: bool) -> None:
    """In a plane noise goes beyond 2 standard errors once in 7, beyond 2.9 once in 70."""
    assert (told_of_a_clock(1, 200.0, 2.83 * sigmas, 2.0) is not None) is told


@pytest.mark.parametrize(("arcmin", "told"), [(0.9, True), (1.6, False)])
def test_refraction_of_the_wrong_hour_is_half_an_arcminute(arcmin: float, told: bool) -> None:
    """However sure the axes: at 30 deg the air lifts by 100 arcsec, an hour on by 30 more or less (handbook tables)."""
    assert (told_of_a_clock(1, 200.0, arcmin, 1e-3) is not None) is told


@pytest.mark.parametrize(("count", "told"), [(4, True), (6, False)])
def test_a_frame_left_out_of_four_may_be_the_right_one(count: int, told: bool) -> None:
    """Any three agree but for their rotations; among five, places tell that one is wrong."""
    scene = Scene([Sweep(ANGLES[:count])], noise_px=0.05, stars=0, wrong=[(1, 1500.0)])
    result = measured(list(frames_of(scene, np.random.default_rng(3)).frames))
    assert len(result.left_out) == 1
    said = notice(result, "frames-disagree")
    assert (said is not None) is told
    assert said is None or "left out" in said.text
