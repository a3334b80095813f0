"""Frames without a solution, tied to a solved one by drawn stars; the truth is the mount that they were drawn with."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polarcheck.errors import InputError
from polarcheck.frames import read_frames
from polarcheck.measurement.source import given_alignment
from polarcheck.outlook import DriftCheck, check_drift
from tests.benchmarks.tracked_mounts import Session
from tests.drawn_sequences import CAMERA, Sequence

TWO_HOURS = Session(hours=2.0, frames=41)
HOUR = Session(hours=1.0, frames=13)


def checked(sequence: Sequence, folder: Path) -> DriftCheck:
    session = sequence.session
    alignment = given_alignment(session.error_arcmin, session.sky)
    return check_drift(alignment, read_frames([sequence.write(folder)]))


def assert_as_drawn(found: DriftCheck, off_px: float = 0.1) -> None:
    """Seen as the true mount moves, within a part of a pixel, and the roll by as much at the sensor's edge."""
    off = off_px * CAMERA.pixel_scale_arcsec
    assert np.abs(found.left_arcsec[:, :2]).max() < off
    assert np.abs(found.left_arcsec[:, 2]).max() < np.degrees(off_px / (CAMERA.height_px / 2)) * 3600


def test_frames_are_tied_both_ways_from_one_in_the_middle(tmp_path: Path) -> None:
    """Two hours, 580 arcsec or 97 px of drift, hot pixels at the same place in every frame, and a satellite."""
    found = checked(Sequence(TWO_HOURS, (20,), hot=40, satellite=True), tmp_path)
    assert (len(found.names), found.unsolved) == (41, 40)
    assert np.hypot(*found.seen_arcsec[-1, :2]) > 500
    assert not found.notices
    assert_as_drawn(found)
    assert np.abs(found.rate_excess_arcsec_per_min[:2]).max() < 0.002  # of 4.8: under 0.05 %


def test_field_that_leaves_the_sensor_and_turns_is_followed(tmp_path: Path) -> None:
    """Nearly five degrees of error near the pole: in an hour the field moves by more than the sensor's height."""
    session = replace(HOUR, error_arcmin=(250.0, 120.0), declination_deg=75.0, frames=25)
    found = checked(Sequence(session, (12,)), tmp_path)
    assert found.unsolved == 24
    assert np.hypot(*found.seen_arcsec[-1, :2]) > CAMERA.height_px * CAMERA.pixel_scale_arcsec
    assert_as_drawn(found, 0.25)


def test_frames_under_clouds_are_not_tied_by_hot_pixels(tmp_path: Path) -> None:
    """Where no star shows the hot pixels agree perfectly, and would say that the field stands still."""
    dark = (2, 3, 7, 11)
    found = checked(Sequence(HOUR, (6,), hot=40, clear=lambda k: 0.0 if k in dark else 1.0), tmp_path)
    assert found.unsolved == 12 - len(dark)
    assert [notice.code for notice in found.notices] == ["frame-unused"]
    assert "light_003.fits, light_004.fits, light_008.fits, light_012.fits" in found.notices[0].text
    assert_as_drawn(found)


def test_where_the_solved_frame_alone_is_clear_nothing_is_said_of_a_drift(tmp_path: Path) -> None:
    sequence = Sequence(HOUR, (6,), hot=40, clear=lambda k: float(k in (0, 6)))
    with pytest.raises(InputError, match=r"2 frames that can be used.*\n.*no more stars agree"):
        checked(sequence, tmp_path)


def test_field_that_a_guider_holds_is_tied_though_all_stands_still(tmp_path: Path) -> None:
    found = checked(Sequence(replace(HOUR, guided=True), (6,), hot=10), tmp_path)
    assert found.unsolved == 12
    assert np.abs(found.seen_arcsec[:, :2]).max() < 0.1 * CAMERA.pixel_scale_arcsec
    assert found.is_guided


def test_frames_after_a_change_of_the_pier_side_are_named_and_left_out(tmp_path: Path) -> None:
    found = checked(Sequence(HOUR, (2, 10), flip_at=8), tmp_path)
    assert len(found.names) == 8
    assert [notice.code for notice in found.notices] == ["frame-unused"]
    assert "light_009.fits" in found.notices[0].text
    assert_as_drawn(found)


def test_low_in_the_sky_seen_and_predicted_speak_of_the_same_directions(tmp_path: Path) -> None:
    """From 18 to 8 deg of altitude refraction moves the stars by 0.1 % of the drift from their ICRS places."""
    session = replace(HOUR, start_deg=69.0, declination_deg=5.0)
    found = checked(Sequence(session, tuple(range(13))), tmp_path)
    assert found.predicted.altitude_deg[-1] < 8.5
    drift = np.hypot(*found.seen_arcsec[-1, :2]) / 60
    assert np.abs(found.rate_excess_arcsec_per_min[:2]).max() < 0.0003 * drift


def test_target_that_sets_meanwhile_is_said(tmp_path: Path) -> None:
    session = replace(HOUR, start_deg=81.5, declination_deg=5.0)
    found = checked(Sequence(session, tuple(range(13))), tmp_path)
    assert found.predicted.altitude_deg[-1] < 0 < found.predicted.altitude_deg[0]
    assert "target-sets" in [notice.code for notice in found.notices]
