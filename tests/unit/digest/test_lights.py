"""Which frames stay with one field."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

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


def test_another_camera_on_the_same_field_is_another_target() -> None:
    frames = frames_of("tracked_only")
    other = tuple(replace(frame, pixel_scale_arcsec=2 * frame.pixel_scale_arcsec) for frame in frames[:5])
    assert [len(light.frames) for light in light_frames((*frames, *other))] == [11, 5]
