"""Which frames stay with one field."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.digest.lights import light_frames
from polarcheck.frames import Frame, read_frames
from polarcheck.times import add_seconds
from tests.commands import SAMPLES


def frames_of(folder: str) -> tuple[Frame, ...]:
    return read_frames(SAMPLES / folder).frames


def test_a_sweep_has_no_target() -> None:
    assert light_frames(frames_of("north_sweep")) == ()


def test_a_tracked_sequence_is_one_target_at_its_first_centre() -> None:
    """Centre read in the sample's header: CRVAL of the first frame, whose CRPIX is its centre."""
    (light,) = light_frames(frames_of("tracked_only"))
    assert len(light.frames) == 11
    assert light.span_s == pytest.approx(3600.0, abs=1.0)
    assert light.target.place == pytest.approx(header_centre(), abs=0.01)


def header_centre() -> tuple[float, float]:
    from astropy.io import fits

    path = Path(sorted((SAMPLES / "tracked_only").glob("*.fz"))[0])
    with fits.open(path) as content:
        header = content[1].header
    assert abs(header["CRPIX1"] - 600.5) < 1
    return header["CRVAL1"], header["CRVAL2"]


def test_few_frames_or_a_short_while_are_no_target() -> None:
    frames = frames_of("tracked_only")
    assert light_frames(frames[:3]) == ()
    quick = tuple(
        replace(frame, utc=add_seconds(frames[0].utc, 5.0 * i)) for i, frame in enumerate(frames[:5])
    )
    assert light_frames(quick) == ()


@pytest.mark.parametrize(("gap_s", "is_target"), [(70.0, True), (50.0, False)])
def test_four_frames_over_three_minutes_are_a_target(gap_s: float, is_target: bool) -> None:
    """A position of a sweep takes one frame or a few in a row: common practice, no source."""
    frames = frames_of("tracked_only")
    four = [replace(frame, utc=add_seconds(frames[0].utc, gap_s * i)) for i, frame in enumerate(frames[:4])]
    assert (light_frames(four) != ()) == is_target


def test_another_camera_on_the_same_field_is_another_target() -> None:
    frames = frames_of("tracked_only")
    other = tuple(replace(frame, pixel_scale_arcsec=2 * frame.pixel_scale_arcsec) for frame in frames[:5])
    assert [len(light.frames) for light in light_frames((*frames, *other))] == [11, 5]


@pytest.mark.parametrize(("share", "fields"), [(0.3, [8]), (0.4, [4, 4])])
def test_dithering_stays_within_a_third_of_the_shorter_side(share: float, fields: list[int]) -> None:
    """0.35 of it; common practice, no source."""
    first = frames_of("tracked_only")[0]
    side_deg = first.height_px * first.pixel_scale_arcsec / 3600
    centre = first.sky.mean(axis=0)
    about = np.cross(centre, [0.0, 0.0, 1.0])  # so that the centre moves along its meridian
    shift = Rotation.from_rotvec(np.radians(share * side_deg) * about / np.linalg.norm(about))
    frames = tuple(
        replace(
            first,
            sky=shift.apply(first.sky) if i % 2 else first.sky,
            utc=add_seconds(first.utc, 120.0 * i),
        )
        for i in range(8)
    )
    assert [len(light.frames) for light in light_frames(frames)] == fields
