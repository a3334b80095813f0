"""Frames without a solution, tied to a solved one by drawn stars; the truth is the mount that they were drawn with."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from polarcheck.errors import InputError
from polarcheck.frames import read_frame, read_frames, read_solution
from polarcheck.measurement.source import given_alignment
from polarcheck.outlook import DriftCheck, check_drift, star_ties
from polarcheck.outlook.star_ties import (  # what a frame of hot pixels is, drawn in a moment instead of minutes
    Seat,
    _may_stand_still,
    _rotation,
    _still_marks,
    _Ties,
    few_names,
)
from polarcheck.sky import Sky
from tests.benchmarks.tracked_mounts import Session
from tests.commands import SAMPLES
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


def test_four_frames_are_named_and_the_others_counted() -> None:
    """As many as fit into two lines of 80 columns (common practice, no source)."""
    assert few_names(["a", "b", "c", "d"]) == "a, b, c, d"
    assert few_names(["a", "b", "c", "d", "e", "f"]) == "a, b, c, d and 2 more"


@pytest.mark.parametrize(("off_px", "still"), [(0.7, True), (0.8, False)])
def test_a_mark_of_the_sensor_shows_within_three_quarters_of_a_pixel(off_px: float, still: bool) -> None:
    """A hot pixel's centroid, noise and neighbours included (common practice, no source)."""
    places = [np.array([[100.0, 100.0], [300.0 + 9 * k, 200.0]]) for k in range(10)]
    places[0] = places[0] + [off_px, 0.0]
    marks = _still_marks(places)
    assert marks[0].tolist() == [still, False]


@pytest.mark.parametrize(("shown", "still"), [(9, True), (7, False)])
def test_a_mark_of_the_sensor_shows_in_four_of_five_frames(shown: int, still: bool) -> None:
    """In the others a star may cover it (common practice, no source)."""
    mark, star = [100.0, 100.0], [500.0, 600.0]
    places = [np.array([mark if 1 <= k <= shown or not k else star]) for k in range(11)]
    assert _still_marks(places)[0].tolist() == [still]


def test_fifteen_frames_are_looked_at_for_marks(monkeypatch: pytest.MonkeyPatch) -> None:
    """A night's thousand frames would take minutes; a mark in four fifths of fifteen is no chance."""
    grown: list[int] = []
    true_tree = cKDTree

    def tree(some: np.ndarray) -> object:
        grown.append(len(some))
        return true_tree(some)

    monkeypatch.setattr("scipy.spatial.cKDTree", tree)
    _still_marks([np.array([[100.0, 100.0]])] * 40)
    assert len(grown) == 15


@pytest.mark.parametrize(("still", "may"), [(4, False), (6, True)])
def test_a_field_may_stand_still_where_half_of_its_stars_do(still: int, may: bool) -> None:
    assert _may_stand_still([np.arange(10) < still] * 4) is may


@pytest.mark.parametrize(("off_times", "counts"), [(3.6, True), (4.6, False)])
def test_a_pair_four_times_as_far_off_as_the_others_has_no_say(off_times: float, counts: bool) -> None:
    """For normal noise that is beyond 4 sigmas (common practice, no source)."""
    rng = np.random.default_rng(5)
    camera = np.column_stack([rng.uniform(-0.01, 0.01, (40, 2)), np.ones(40)])
    camera /= np.linalg.norm(camera, axis=-1, keepdims=True)
    angle = rng.uniform(0, 2 * np.pi, 40)
    step = 1e-6 * np.column_stack([np.cos(angle), np.sin(angle), np.zeros(40)])
    with_pair, without = camera + step, np.delete(camera + step, 7, axis=0)
    with_pair[7] = camera[7] + [off_times * 1e-6, 0.0, 0.0]
    apart = _rotation(camera, with_pair) - _rotation(np.delete(camera, 7, axis=0), without)
    assert bool(np.abs(apart).max() > 3e-8) is counts


@pytest.mark.parametrize(("off_px", "moved"), [(2.5, False), (3.5, True)])
def test_a_field_has_moved_by_three_pixels(off_px: float, moved: bool) -> None:
    """More than centroids and the air's unrest make of a field that stands still (common practice, no source)."""
    path = sorted((SAMPLES / "tracked_only").glob("*.fz"))[0]
    frame = read_frame(path)
    assert frame.site is not None
    ties = _Ties(Sky.over(frame.site), [frame], read_solution(path))
    sight = ties.camera_directions(np.array([[(frame.width_px - 1) / 2, (frame.height_px - 1) / 2]]))[0]
    across = np.cross(sight, [0.0, 0.0, 1.0])
    angle = np.radians(off_px * frame.pixel_scale_arcsec / 3600)
    camera = Rotation.from_rotvec(angle * across / np.linalg.norm(across)).as_matrix()
    assert ties.has_moved(Seat(frame.name, frame.utc, camera)) is moved


def test_the_two_hundred_brightest_stars_of_a_frame_are_tied(monkeypatch: pytest.MonkeyPatch) -> None:
    """They tie to a hundredth of a pixel; thousands of the Milky Way only cost time (common practice, no source)."""
    stars = SimpleNamespace(x_px=np.arange(300.0), y_px=np.arange(300.0))
    monkeypatch.setattr(
        star_ties, "read_image", lambda _: SimpleNamespace(pixels=0, mosaic=None, saturation=None)
    )
    monkeypatch.setattr(star_ties, "find_stars", lambda *_, **__: stars)
    places, _ = star_ties._read([Path("a.fits")], None)
    assert places[Path("a.fits")][:, 0].tolist() == list(range(200))


@pytest.mark.parametrize(("off_px", "tied"), [(1.5, True), (2.5, False)])
def test_stars_tie_frames_where_they_come_within_two_pixels(
    monkeypatch: pytest.MonkeyPatch, off_px: float, tied: bool
) -> None:
    """What refraction and a lens bend over a wide field besides a turn (common practice, no source)."""
    path = sorted((SAMPLES / "tracked_only").glob("*.fz"))[0]
    frame = read_frame(path)
    assert frame.site is not None
    ties = _Ties(Sky.over(frame.site), [frame], read_solution(path))
    rng, every = np.random.default_rng(3), np.arange(60)
    mine = rng.uniform([0, 0], [frame.width_px, frame.height_px], (60, 2))
    angle = rng.uniform(0, 2 * np.pi, 60)
    there = mine + off_px * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    problem: Any = SimpleNamespace(name="b.fits", path=Path("b.fits"))
    ties.places = {path: mine, problem.path: mine}
    monkeypatch.setattr(star_ties, "pair_stars", lambda *_: SimpleNamespace(first=every, second=every))
    seat = ties.seat(problem, frame.utc, path, ties.lens.icrs_from_pixels(there))
    assert (seat is not None) is tied
