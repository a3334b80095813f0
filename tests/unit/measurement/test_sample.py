"""Frames to arrays: the site that most name, cameras, stations, noise, and what cannot take part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polarcheck.errors import GeometryError, InputError, Notice
from polarcheck.frames import Frame, FrameSet, Problem, ProblemKind
from polarcheck.measurement.sample import _stations, sample_of, site_of
from polarcheck.site import Site
from tests.benchmarks.mounts import NORTH, Scene, Sweep, frames_of
from tests.helpers import ARCSEC, icrs

ELSEWHERE = replace(NORTH, latitude_deg=NORTH.latitude_deg + 2.5)
SECOND = {"width_px": 800, "height_px": 600, "pixel_scale_arcsec": 9.0}


def night(count: int = 4) -> tuple[Frame, ...]:
    scene = Scene([Sweep(tuple(np.linspace(-30, 40, count)))], noise_px=0.0, stars=0)
    return frames_of(scene, np.random.default_rng(1)).frames


def changed(frames: Sequence[Frame], which: Sequence[int], **changes: Any) -> list[Frame]:
    return [replace(f, **changes) if i in which else f for i, f in enumerate(frames)]


def test_site_is_that_of_the_headers() -> None:
    assert site_of(night()) == (NORTH, [])


def test_site_that_most_headers_name_is_used_and_the_others_are_said() -> None:
    site, notices = site_of(changed(night(), [0], site=ELSEWHERE))
    assert site == NORTH
    assert [notice.code for notice in notices] == ["site-disagreement"]
    assert "1 of 4 frames" in notices[0].text
    assert "2.50 deg" in notices[0].text


def test_sites_a_few_hundred_metres_apart_are_one() -> None:
    # 0.005 deg is 560 m; it would turn the axis by 0.3" for an error of 1 deg (15"/s of clock, derived)
    near = replace(NORTH, longitude_deg=NORTH.longitude_deg + 0.005)
    _, notices = site_of(changed(night(), [0], site=near))
    assert notices == []


def test_headers_without_a_site_take_that_of_the_rig_file_or_are_refused() -> None:
    bare = changed(night(), range(4), site=None)
    assert site_of(bare, ELSEWHERE) == (ELSEWHERE, [])
    assert site_of(night(), ELSEWHERE)[0] == NORTH
    with pytest.raises(InputError, match="no site"):
        site_of(bare)


def test_arrays_hold_the_frames_in_order() -> None:
    frames = night()
    sample, problems = sample_of(FrameSet(frames, ()), NORTH, 0.2)
    assert problems == []
    assert sample.sky == pytest.approx(np.array([f.sky for f in frames]))
    assert sample.epochs.utc == pytest.approx(np.array([f.utc for f in frames]))
    assert sample.noise == pytest.approx([0.2 * f.pixel_scale_arcsec * ARCSEC for f in frames])


@pytest.mark.parametrize(
    ("changes", "cameras"),
    [
        (SECOND, 2),
        ({"mirrored": True}, 2),
        ({"pixel_scale_arcsec": night()[0].pixel_scale_arcsec * 1.01}, 1),
        ({"pixel_scale_arcsec": night()[0].pixel_scale_arcsec * 1.02}, 2),
        ({"width_px": 600, "height_px": 450}, 2),
    ],
    ids=["another", "mirrored", "focus drifted", "another focal length", "binned"],
)
def test_cameras_are_told_apart_by_size_scale_and_parity(changes: dict[str, Any], cameras: int) -> None:
    sample, _ = sample_of(FrameSet(tuple(changed(night(), [1, 3], **changes)), ()), NORTH, 0.2)
    assert list(sample.camera) == ([0, 1, 0, 1] if cameras == 2 else [0, 0, 0, 0])


def test_frames_of_the_same_stars_share_a_station() -> None:
    # guided: the same sky in the same place (a shift of 1 % of the width), then the mount goes elsewhere
    frames = night()
    width = frames[0].width_px * frames[0].pixel_scale_arcsec * ARCSEC
    dithered = frames[0].sky + [0.0, 0.0, 0.01 * width]
    moved = frames[0].sky + [0.0, 0.0, 0.05 * width]
    again = [replace(frames[1], sky=dithered), replace(frames[2], sky=moved), frames[3]]
    sample, _ = sample_of(FrameSet((frames[0], *again), ()), NORTH, 0.2)
    assert list(sample.station) == [0, 0, 1, 2]


def test_a_slow_drift_does_not_add_up_to_one_station() -> None:
    # steps of 2 % of the width are each within a station; three of them are not
    frames = night()
    width = frames[0].width_px * frames[0].pixel_scale_arcsec * ARCSEC
    drifting = [replace(f, sky=frames[0].sky + [0.0, 0.0, 0.02 * i * width]) for i, f in enumerate(frames)]
    sample, _ = sample_of(FrameSet(tuple(drifting), ()), NORTH, 0.2)
    assert list(sample.station) == [0, 0, 1, 1]


def test_frame_below_the_horizon_is_left_out_with_its_time() -> None:
    frames = night()
    below = icrs(np.zeros(16), np.full(16, -1.5))  # far south, never up at 47 N
    sample, problems = sample_of(FrameSet(tuple(changed(frames, [2], sky=below)), ()), NORTH, 0.2)
    assert len(sample.frames) == 3
    assert [(p.name, p.utc) for p in problems] == [(frames[2].name, frames[2].utc)]
    assert "below the horizon" in problems[0].reason


def test_one_frame_is_too_few_and_the_bad_files_are_named() -> None:
    bad = Problem(Path("flat.fits"), "flat.fits", "is not solved")
    with pytest.raises(
        GeometryError, match=r"1 usable frame:.*least:\n  flat.fits: is not solved"
    ) as refusal:
        sample_of(FrameSet(night(2)[:1], (bad,)), NORTH, 0.2)
    assert refusal.value.arc_deg == 0.0


def test_two_copies_of_one_frame_are_one_frame() -> None:
    copy = Problem(
        Path("copy.fits"), "copy.fits", "is the same frame as a.fits, which is used", kind=ProblemKind.COPY
    )
    with pytest.raises(GeometryError, match="1 are copies"):
        sample_of(FrameSet(night(2)[:1], (copy,)), NORTH, 0.2)


@pytest.mark.parametrize("noise_px", [0.0, -1.0, 1000.0, float("nan")])
def test_impossible_noise_is_refused(noise_px: float) -> None:
    with pytest.raises(InputError, match="noise"):
        sample_of(FrameSet(night(), ()), NORTH, noise_px)


def test_notices_of_many_frames_are_told_once_with_their_number() -> None:
    frames = changed(night(), [0, 1, 3], notices=(Notice("no-exposure", "The exposure is unknown."),))
    sample, _ = sample_of(FrameSet(tuple(frames), ()), NORTH, 0.2)
    assert [(n.code, n.text) for n in sample.notices] == [
        ("no-exposure", "3 of 4 frames: The exposure is unknown.")
    ]


def test_part_keeps_what_belongs_to_the_frames_chosen() -> None:
    frames = changed(night(), [0, 2], **SECOND)
    sample, _ = sample_of(FrameSet(tuple(frames), ()), NORTH, 0.2)
    part = sample.part(np.array([1, 3]))
    assert part.frames == (frames[1], frames[3])
    assert list(part.camera) == [0, 0]
    assert part.epochs.utc == pytest.approx(sample.epochs.utc[[1, 3]])
    assert part.noise == pytest.approx(sample.noise[[1, 3]])


def test_site_on_the_other_side_of_the_world_is_refused() -> None:
    with pytest.raises(InputError, match="below the horizon"):
        sample_of(FrameSet(night(), ()), Site(-47.3, -168.8, 0.0), 0.2)


@pytest.mark.parametrize(("apart_deg", "same"), [(0.007, True), (0.014, False)])
def test_sites_agree_that_differ_by_rounding(apart_deg: float, same: bool) -> None:
    """Written with two decimals a place is up to 0.005 deg from the exact one, and two of them up to 0.01."""
    other = replace(NORTH, longitude_deg=NORTH.longitude_deg + apart_deg)
    _, notices = site_of(changed(night(), [0], site=other))
    assert (not notices) == same


@pytest.mark.parametrize(("shift", "stations"), [(0.02, 1), (0.045, 2)])
def test_dithered_frames_share_a_station(shift: float, stations: int) -> None:
    """Dithering shifts by tens of pixels, up to 2 % of a sensor's width (common practice, no source)."""
    width = np.full(2, 0.03)
    look = icrs([0.0, shift * 0.03], [0.0, 0.0])[:, None]
    assert len(set(_stations(look, width))) == stations
