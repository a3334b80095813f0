"""What is said of every file: a fitting reason for what was done to a frame, and the warnings."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.errors import FitError
from polarcheck.frames import Frame, FrameSet, Problem
from polarcheck.measurement.conditions import Conditions
from polarcheck.measurement.measurement import measure_frames
from polarcheck.measurement.result import Measurement
from polarcheck.measurement.verdicts import fit_notices, left_out_lines
from polarcheck.simulate import Camera
from tests.benchmarks.mounts import NORTH, Array, Scene, Sweep, frames_of
from tests.helpers import ARCSEC, DEG

ANGLES = (-30.0, -18.0, -6.0, 6.0, 18.0, 30.0)
LOW_NOISE = 0.05  # px


def scene(angles: tuple[float, ...] = ANGLES, declination_deg: float = 50.0) -> Scene:
    return Scene([Sweep(angles, declination_deg)], noise_px=LOW_NOISE)


def sweep(seed: int = 1) -> list[Frame]:
    return list(frames_of(scene(), np.random.default_rng(seed)).frames)


def measured(frames: list[Frame], problems: tuple[Problem, ...] = ()) -> Measurement:
    return measure_frames(FrameSet(tuple(frames), problems), conditions=Conditions(noise_px=LOW_NOISE))


def axes_at(frame: Frame) -> tuple[Array, Array, Array]:
    """East, north and boresight of a frame, in ICRS: near enough the mount's own for an error of 20 arcmin."""
    look = frame.centre
    east = np.cross([0.0, 0.0, 1.0], look)
    east /= np.linalg.norm(east)
    return east, np.cross(look, east), look


def turned(frame: Frame, axis: Array, angle: float) -> Frame:
    return replace(frame, sky=Rotation.from_rotvec(axis * angle).apply(frame.sky))


def reasons(result: Measurement) -> dict[int, str]:
    return {i: e.reason for i, e in enumerate(result.entries) if e.reason is not None}


def codes(result: Measurement) -> set[str]:
    return {notice.code for notice in result.notices}


def arcsec_in(text: str) -> float:
    value, unit = re.search(r"([\d.]+) (arcsec|arcmin|deg)", text).groups()  # type: ignore[union-attr]
    return float(value) * {"arcsec": 1, "arcmin": 60, "deg": 3600}[unit]


def test_good_frames_have_no_reason_and_a_group() -> None:
    result = measured(sweep())
    assert reasons(result) == {}
    assert [entry.group for entry in result.entries] == [1] * 6
    assert codes(result) == set()


@pytest.mark.parametrize("shift_arcsec", [40.0, 1440.0])
def test_declination_off_is_named_with_its_size(shift_arcsec: float) -> None:
    # shifted along declination, so the size must be that of the shift, to a twentieth
    frames = sweep()
    east, _, _ = axes_at(frames[2])
    frames[2] = turned(frames[2], -east, shift_arcsec * ARCSEC)
    found = reasons(measured(frames))
    assert list(found) == [2]
    assert "declination" in found[2]
    assert arcsec_in(found[2]) == pytest.approx(shift_arcsec, rel=0.05)


def test_camera_rotation_off_is_named_with_its_size() -> None:
    frames = sweep()
    _, _, look = axes_at(frames[3])
    frames[3] = turned(frames[3], look, 3 * DEG)
    found = reasons(measured(frames))
    assert list(found) == [3]
    assert arcsec_in(found[3].partition("rotation")[2]) == pytest.approx(3 * 3600, rel=0.05)
    assert "declination" not in found[3]  # a turn about the boresight moves no declination


def test_frame_solved_elsewhere_is_named_with_its_distance() -> None:
    frames = sweep()
    frames[4] = turned(frames[4], np.array([0.0, 0.6, 0.8]), 60 * DEG)
    found = reasons(measured(frames))
    assert list(found) == [4]
    assert "solved wrongly" in found[4]


def test_both_wrong_frames_are_named() -> None:
    frames = sweep()
    for i, shift in ((1, 1440.0), (4, 40.0)):
        frames[i] = turned(frames[i], -axes_at(frames[i])[0], shift * ARCSEC)
    assert list(reasons(measured(frames))) == [1, 4]


def test_single_frame_of_another_camera_is_named_so() -> None:
    frames = sweep()
    frames[5] = replace(frames[5], width_px=800, height_px=600, pixel_scale_arcsec=9.0)
    result = measured(frames)
    assert "800 x 600 px at 9.00 arcsec/px" in reasons(result)[5]
    assert result.entries[5].residual_arcsec is None


def test_knob_turned_between_two_sweeps_is_told_with_its_size() -> None:
    # azimuth +30, altitude +15 arcmin: 30 x cos(47.2 deg) and 15 make 25.3 arcmin on the sky
    before = Scene([Sweep(ANGLES[:4])], noise_px=LOW_NOISE)
    after = Scene([Sweep(ANGLES)], error_arcmin=(53.4, 3.2), noise_px=LOW_NOISE, start="2026-11-14T20:45:00")
    frames = list(frames_of(before, np.random.default_rng(2)).frames)
    frames += [replace(f, name=f"later_{f.name}") for f in frames_of(after, np.random.default_rng(3)).frames]
    result = measured(frames)
    assert reasons(result) == {}
    assert result.error.azimuth_arcmin == pytest.approx(53.4, abs=0.2)
    notice = next(notice for notice in result.notices if notice.code == "mount-moved")
    assert arcsec_in(notice.text.partition("last by")[2]) == pytest.approx(25.3 * 60, abs=12)


def test_frames_before_a_knock_that_moved_the_declination_too_are_named_so() -> None:
    before = Scene([Sweep(ANGLES[:5])], noise_px=LOW_NOISE)
    after = Scene([Sweep(ANGLES, 50.3)], error_arcmin=(53.4, 3.2), noise_px=LOW_NOISE)
    frames = list(frames_of(before, np.random.default_rng(2)).frames)
    later = frames_of(after, np.random.default_rng(3)).frames
    frames += [
        replace(f, name=f"later_{i}.fits", utc=(f.utc[0], f.utc[1] + 0.01)) for i, f in enumerate(later)
    ]
    result = measured(frames)
    assert reasons(result) == dict.fromkeys(range(5), "taken before the mount moved")
    assert "mount-moved" in codes(result)


def test_declination_that_slipped_makes_groups_and_says_so() -> None:
    # declination moved by 10 arcmin after the third frame
    first, second = scene(ANGLES[:3]), scene(ANGLES[3:], 50.0 + 10 / 60)
    frames = list(frames_of(first, np.random.default_rng(2)).frames)
    frames += [
        replace(f, name=f"later_{i}.fits", utc=(f.utc[0], f.utc[1] + 0.01))
        for i, f in enumerate(frames_of(second, np.random.default_rng(3)).frames)
    ]
    result = measured(frames)
    assert [entry.group for entry in result.entries] == [1, 1, 1, 2, 2, 2]
    assert "several-groups" in codes(result)


def test_two_frames_say_that_the_noise_is_assumed() -> None:
    result = measured(sweep()[::5])
    assert codes(result) == {"assumed-noise"}
    assert f"{LOW_NOISE * Camera().pixel_scale_arcsec:.2f} arcsec" in result.notices[0].text


def test_three_frames_that_contradict_each_other_say_so() -> None:
    frames = sweep()[::2]
    frames[1] = turned(frames[1], -axes_at(frames[1])[0], 0.03 * DEG)
    result = measured(frames)
    assert "frames-disagree" in codes(result)
    assert result.error.altitude_95_arcmin > 5


def test_three_frames_that_contradict_each_other_by_far_are_refused() -> None:
    frames = sweep()[::2]
    frames[1] = turned(frames[1], -axes_at(frames[1])[0], 0.4 * DEG)
    with pytest.raises(FitError, match="contradict each other"):
        measured(frames)


def test_an_error_of_many_degrees_is_asked_about() -> None:
    far = Scene([Sweep(ANGLES)], error_arcmin=(200.0, 290.0), noise_px=LOW_NOISE)
    result = measured(list(frames_of(far, np.random.default_rng(1)).frames))
    assert "large-error" in codes(result)


def test_frames_near_the_horizon_are_said() -> None:
    low = Scene([Sweep((0.0, 40.0, 76.0), 0.0)], noise_px=LOW_NOISE)
    result = measured(list(frames_of(low, np.random.default_rng(1)).frames))
    assert "low-altitude" in codes(result)


def test_every_file_is_listed_by_time_and_those_without_time_last() -> None:
    frames = sweep()
    between = (frames[2].utc[0], (frames[2].utc[1] + frames[3].utc[1]) / 2)
    timeless = Problem(Path("notes.fits"), "notes.fits", "is not solved")
    timed = Problem(Path("flat.fits"), "flat.fits", "is not solved", utc=between)
    names = [entry.name for entry in measured(frames, (timeless, timed)).entries]
    assert names == [*(f.name for f in frames[:3]), "flat.fits", *(f.name for f in frames[3:]), "notes.fits"]


def test_residuals_and_axis_angles_stand_in_degrees_and_arcseconds() -> None:
    # 0.01 deg: the axis turns its own angles by its error; white noise of 0.05 px leaves up to twice its size
    result = measured(sweep())
    assert [e.axis_angle_deg for e in result.entries] == pytest.approx(list(ANGLES), abs=0.01)
    noise_arcsec = LOW_NOISE * Camera().pixel_scale_arcsec
    assert all(0 < (e.residual_arcsec or 0) < 6 * noise_arcsec for e in result.entries)
    assert NORTH.is_north


# where warnings begin: each case stands well to one side, within a factor of two of the limit


def warned(settings: dict[str, Any], seed: int = 1) -> set[str]:
    chosen = {"sweeps": [Sweep(ANGLES)], "noise_px": LOW_NOISE} | settings
    return codes(measured(list(frames_of(Scene(**chosen), np.random.default_rng(seed)).frames)))


@pytest.mark.parametrize(("off_deg", "asked"), [(3.5, False), (7.0, True)])
def test_error_is_asked_about_beyond_what_compass_and_scale_leave(off_deg: float, asked: bool) -> None:
    """A compass and a latitude scale leave a few degrees; more is a mistake (common practice, no source)."""
    assert ("large-error" in warned({"error_arcmin": (0.0, off_deg * 60)})) == asked


@pytest.mark.parametrize(("hour_angle_deg", "said"), [(69.0, False), (78.5, True)])
def test_low_frames_are_said_where_refraction_grows_unsure(hour_angle_deg: float, said: bool) -> None:
    """On the equator of the sky at 47.3 deg N the frames reach down to 13 and to 7 deg (spherical triangle). Below
    10 deg refraction depends on more than the air at the site: the usual formulae are given for zenith distances up
    to 75 or 80 deg (Explanatory Supplement to the Astronomical Almanac, from memory).
    """
    sweep_down = [Sweep((0.0, 35.0, hour_angle_deg), 0.0)]
    assert ("low-altitude" in warned({"sweeps": sweep_down})) == said


@pytest.mark.parametrize(("times_noise", "said"), [(3.4, False), (7.5, True)])
def test_scatter_is_said_where_no_solver_would_be_so_poor(times_noise: float, said: bool) -> None:
    """Solutions of one camera differ by a factor of two or three in noise with the stars in the field (common
    practice, no source).
    """
    many = [Sweep(tuple(np.linspace(-40, 40, 15)))]
    found = warned({"sweeps": many, "noise_px": LOW_NOISE * times_noise, "stars": 0}, seed=5)
    assert ("noisy-frames" in found) == said


def test_refusal_names_a_few_files_and_counts_the_rest() -> None:
    """So that it fits a terminal of 24 lines when each reason is wrapped to two or three."""
    files = [Problem(Path(f"{i}.fits"), f"{i}.fits", "is not solved") for i in range(40)]
    lines = left_out_lines(files).strip().splitlines()
    assert lines[0] == "Left out: 40"
    assert 4 <= len(lines) - 2 <= 7
    assert lines[-1].strip() == f"and {40 - (len(lines) - 2)} more"
    assert "more" not in left_out_lines(files[:3])


@pytest.mark.parametrize(("standard_errors", "named"), [(3.2, False), (7.5, True)])
def test_rotation_is_named_beside_declination_only_where_noise_does_not_make_it(
    standard_errors: float, named: bool
) -> None:
    """In a few hundred frames normal noise reaches 3 standard errors, never 6 (tables of the normal distribution)."""
    frames = sweep()
    fit = measured(frames).fit
    here = fit.attitudes.matrices[2].T @ fit.axis
    lever = np.linalg.norm(np.cross(here, fit.attitudes.boresights[fit.attitudes.camera[2]]))
    rotation_noise = np.sqrt(fit.solution.variances[fit.groups[2]][1]) / lever
    one = fit.noise * LOW_NOISE * Camera().pixel_scale_arcsec * ARCSEC * rotation_noise
    east, _, look = axes_at(frames[2])
    frames[2] = turned(turned(frames[2], -east, 60 * ARCSEC), look, standard_errors * one)
    found = reasons(measured(frames))
    assert list(found) == [2]
    assert ("rotation" in found[2]) == named


@pytest.mark.parametrize(("noise", "said"), [(3.5, []), (8.0, ["noisy-frames"])])
def test_scatter_of_five_times_the_usual_is_worth_a_word(noise: float, said: list[str]) -> None:
    """In common wind and seeing frames are two or three times as bad as in the best (common practice, no source)."""
    fit = SimpleNamespace(
        noise=noise,
        agrees=True,
        degrees_of_freedom=8,
        groups=np.zeros(6, int),
        used=np.ones(6, bool),
        station=np.arange(6),
        group_sizes=(6,),
        turns=None,
        slow_change=None,
        knocked_before=None,
        is_guided=False,
        tracked=None,
        contradiction=None,
    )
    high = np.tile([0.0, 0.0, 1.0], (6, 4, 1))
    given: Any = (SimpleNamespace(camera=np.zeros(6, int)), fit, SimpleNamespace(total_arcmin=20.0))
    assert [notice.code for notice in fit_notices(*given, high, high[0, 0])] == said
