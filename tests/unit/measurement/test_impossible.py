"""Solutions that are none, and times that no camera has."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.errors import InputError
from polarcheck.frames import Frame
from polarcheck.measurement.impossible import order_notice, require_possible_times, without_rough_solutions
from tests.benchmarks.mounts import Scene, Sweep, frames_of
from tests.helpers import ARCSEC

MATRIX = (-1.375e-3, 2.0e-6, 2.0e-6, 1.375e-3)


def sweep(count: int = 5) -> list[Frame]:
    scene = Scene([Sweep(tuple(np.linspace(0, 60, count)))], stars=0)
    return list(frames_of(scene, np.random.default_rng(1)).frames)


def later(frame: Frame, seconds: float) -> Frame:
    return replace(frame, utc=(frame.utc[0], frame.utc[1] + seconds / 86400))


def test_matrix_that_is_the_same_at_two_places_is_no_solution() -> None:
    frames = [replace(frame, matrix_deg=MATRIX) for frame in sweep()]
    measured = replace(frames[2], matrix_deg=(-1.3750004e-3, 2.0e-6, 2.0e-6, 1.375e-3))  # differs by 3e-7
    kept, problems = without_rough_solutions([*frames[:2], measured, *frames[3:]])
    assert [frame.name for frame in kept] == [measured.name]
    assert len(problems) == 4 and all("plate-solve it" in problem.reason for problem in problems)


def test_same_matrix_at_one_place_is_no_matter() -> None:
    frame = replace(sweep()[0], matrix_deg=MATRIX)
    assert len(without_rough_solutions([frame, later(frame, 60)])[0]) == 2


@pytest.mark.parametrize("count", [2, 5])
def test_exposures_in_milliseconds_are_refused(count: int) -> None:
    frames = [replace(frame, exposure_s=5000.0) for frame in sweep(count)]
    with pytest.raises(InputError, match=r"[48]0 s apart, but exposed for 5000 s.*milliseconds"):
        require_possible_times(frames)


def test_one_time_on_all_frames_is_refused() -> None:
    frames = sweep()
    with pytest.raises(InputError, match="different fields at the same time"):
        require_possible_times([replace(frame, utc=frames[0].utc) for frame in frames])


def test_exposures_that_follow_each_other_closely_may_stand() -> None:
    # back to back, and stamps rounded to the second
    frames = [replace(frame, exposure_s=41.0) for frame in sweep()]
    assert require_possible_times(frames) == []


def test_two_cameras_of_one_kind_that_expose_together_are_told_not_refused() -> None:
    frames = sweep(6)
    pairs = [later(frame, -39.0 * (i % 2)) for i, frame in enumerate(frames)]
    assert [notice.code for notice in require_possible_times(pairs)] == ["times-overlap"]


def test_names_that_go_round_the_corner_tell_of_a_clock_that_was_set_back() -> None:
    frames = sweep(6)
    assert order_notice(frames) is None
    back = frames[:3] + [later(frame, -3600) for frame in frames[3:]]
    notice = order_notice(sorted(back, key=lambda frame: sum(frame.utc)))
    assert notice is not None and notice.code == "clock-jump"
    assert "frame_06.fits was taken before frame_01.fits" in notice.text


@pytest.mark.parametrize(("arcsec", "kept"), [(14.0, 2), (30.0, 0)])
def test_one_place_is_one_to_some_pixels(arcsec: float, kept: int) -> None:
    """Frames dithered by a few pixels stand at one place; a mount's coordinates move by more (common practice)."""
    frame = replace(sweep()[0], matrix_deg=MATRIX)
    across = np.cross(frame.centre, [0.0, 0.0, 1.0])
    turn = Rotation.from_rotvec(across / np.linalg.norm(across) * arcsec * ARCSEC)
    moved = replace(later(frame, 60), sky=turn.apply(frame.sky))
    assert len(without_rough_solutions([frame, moved])[0]) == kept


def test_exposures_that_overlap_by_more_than_rounded_stamps_are_told() -> None:
    """Two times to the second are wrong by a second together; 40 s apart, 42.2 s long overlaps by two."""
    frames = [replace(frame, exposure_s=42.2) for frame in sweep()]
    assert [notice.code for notice in require_possible_times(frames)] == ["times-overlap"]
