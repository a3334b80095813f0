"""How the camera went from one frame to another, and whether an axis moved."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.frames import Frame, read_frame
from polarcheck.measurement import measure
from polarcheck.watch.fields import Shown, relation, shown
from tests.commands import SAMPLES
from tests.helpers import DEG

SHOWN = Shown((0.0, 0.0), 0.0, 0.02, 1.0, 9.0, np.eye(2), 10.0, 0.0)


@cache
def first() -> Frame:
    return read_frame(sorted((SAMPLES / "north_sweep").glob("*.fz"))[0])


def gone_on(*turn_deg: float) -> Frame:
    """The first frame, turned on the sky by a rotation vector. [deg]"""
    turn = Rotation.from_rotvec(np.array(turn_deg) * DEG)
    return replace(first(), sky=turn.apply(first().sky))


def across() -> np.ndarray:
    """Across the pole and the frame's centre, so that a turn about it is one in declination."""
    centre = first().sky.mean(axis=0)
    side = np.cross([0.0, 0.0, 1.0], centre)
    return np.asarray(side / np.linalg.norm(side))


@pytest.mark.parametrize(("share", "found"), [(0.25, "same field"), (0.35, "elsewhere")])
def test_frames_whose_centres_lie_within_a_third_of_the_sensor_show_one_field(
    share: float, found: str
) -> None:
    """Three tenths of the shorter side: a target that is dithered or drifts stays one (common practice, no source)."""
    side_deg = first().height_px * first().pixel_scale_arcsec / 3600
    assert relation(first(), gone_on(*(share * side_deg * across()))) == found


@pytest.mark.parametrize(("turn_deg", "found"), [(0.9, "elsewhere"), (1.1, "turned")])
def test_a_position_of_a_sweep_is_a_degree_away_at_least(turn_deg: float, found: str) -> None:
    assert relation(first(), gone_on(0.0, 0.0, turn_deg)) == found


@pytest.mark.parametrize(("tilt_deg", "found"), [(2.7, "turned"), (3.0, "elsewhere")])
def test_a_turn_in_right_ascension_misses_the_pole_by_little(tilt_deg: float, found: str) -> None:
    """1.5 deg of declination that slipped, and an axis 15 deg off the pole: 1.5 + 5 tan 15 deg = 2.84 deg."""
    assert relation(first(), gone_on(*(tilt_deg * across() + [0.0, 0.0, 5.0]))) == found


@pytest.mark.parametrize(
    ("arcmin", "sigmas", "moved"), [(0.2, 6.0, True), (0.2, 4.0, False), (0.1, 9.0, False)]
)
def test_an_axis_has_moved_by_five_sigmas_and_more_than_it_settles(
    arcmin: float, sigmas: float, moved: bool
) -> None:
    """0.15 arcmin: what a tripod settles and a tube sags between frames (common practice, no source)."""
    assert replace(SHOWN, apart_arcmin=arcmin, apart_sigmas=sigmas).has_moved is moved


@pytest.mark.parametrize(("turn_deg", "same_place"), [(1.5, True), (2.5, False)])
def test_within_two_degrees_a_move_is_counted_from_where_the_last_frame_alone_had_the_axis(
    turn_deg: float, same_place: bool
) -> None:
    """There both err alike by what is not known of the axis in the camera; elsewhere from the finding."""
    alignment = measure(SAMPLES / "north_sweep").alignment
    last = read_frame(sorted((SAMPLES / "north_sweep").glob("*.fz"))[-1])
    turn = Rotation.from_rotvec([0.0, 0.0, -turn_deg * DEG])
    seen = shown(alignment, replace(last, sky=turn.apply(last.sky)))
    assert seen is not None
    assert seen.turn_deg == pytest.approx(turn_deg, abs=0.01)
    assert (seen.apart_arcmin != pytest.approx(seen.distance_arcmin, rel=1e-6)) is same_place
