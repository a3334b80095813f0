"""What stands out of a sequence, and what is only unrest."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis.steps import largest_step, standing_out

ALL = np.zeros(60, dtype=int)
USED = np.ones(60, dtype=bool)
SECONDS = np.arange(60) * 120.0


def walk(seed: int, fade: float = 0.8, size: float = 10.0) -> np.ndarray:
    """Errors of the kind AR(1) with some white noise."""
    rng = np.random.default_rng(seed)
    values = np.zeros(60)
    for i in range(1, 60):
        values[i] = fade * values[i - 1] + size * np.sqrt(1 - fade**2) * rng.normal()
    return values + rng.normal(size=60)


def test_a_single_frame_stands_out_at_its_place() -> None:
    values = walk(1, 0.5, 2.0)
    values[23] += 80
    assert np.flatnonzero(standing_out(values, ALL, USED) > 1).tolist() == [23]


@pytest.mark.parametrize("seed", range(5))
def test_unrest_that_lasts_is_neither_wrong_nor_a_step(seed: int) -> None:
    values = walk(seed)
    assert standing_out(values, ALL, USED).max() < 1
    assert largest_step(values[:, None], SECONDS)[1] < 1


def test_frames_at_a_step_do_not_stand_out() -> None:
    values = np.random.default_rng(2).normal(size=60) + 300.0 * (np.arange(60) >= 30)
    assert standing_out(values, ALL, USED).max() < 1


def test_a_step_is_found_at_its_moment_with_its_size() -> None:
    values = np.random.default_rng(3).normal(size=(60, 2))
    values[41:, 0] += 40
    first, clear, steps = largest_step(values, SECONDS)
    assert first == 41
    assert clear > 1
    assert steps[0] == pytest.approx(40, abs=4)


def test_a_bend_is_no_step() -> None:
    time = np.linspace(-1, 1, 60)
    values = 200 * time**2 - 90 * time + np.random.default_rng(4).normal(size=60)
    assert largest_step(values[:, None], SECONDS)[1] < 1


def test_a_slope_over_a_gap_in_time_is_no_step() -> None:
    seconds = SECONDS + 3600.0 * (np.arange(60) >= 30)
    values = seconds / 60 + np.random.default_rng(5).normal(size=60)
    assert largest_step(values[:, None], seconds)[1] < 1


def test_dithering_stands_out_nowhere() -> None:
    values = np.repeat(np.random.default_rng(6).uniform(-50, 50, 20), 3) + np.random.default_rng(7).normal(
        size=60
    )
    assert standing_out(values, ALL, USED).max() < 1


def quiet(count: int, **raised: float) -> np.ndarray:
    """A series that lies still but for some frames: f3=9 raises frame 3 by 9."""
    values = np.zeros(count)
    for frame, height in raised.items():
        values[int(frame[1:])] = height
    return values


def told_out(values: np.ndarray) -> list[int]:
    zeros = np.zeros(len(values), dtype=int)
    return np.flatnonzero(standing_out(values, zeros, zeros == 0) > 1).tolist()


def stepping(count: int, first: int, height: float) -> tuple[int, bool]:
    """First frame after the step that is found, and whether it is believed."""
    values = height * (np.arange(count) >= first)
    found, clear, _ = largest_step(values[:, None], np.arange(count) * 120.0)
    return found, clear > 1


@pytest.mark.parametrize(
    ("count", "height", "out"),
    [
        (60, 8.5, False),
        (60, 9.5, True),
        (12, 12.5, False),
        (12, 13.5, True),
        (7, 50.0, True),
        (6, 50.0, False),
    ],
)
def test_the_fewer_frames_the_farther_one_must_stand_out(count: int, height: float, out: bool) -> None:
    """Sixty tell their unrest well: nine standard deviations; twelve tell it badly: thirteen; six not at all (common
    practice, no source).
    """
    assert told_out(quiet(count, f4=height)) == ([4] if out else [])


def test_wrong_frames_in_a_row_stand_out_until_four_are_a_place_of_their_own() -> None:
    assert told_out(quiet(60, f20=12, f21=12)) == [20, 21]
    assert told_out(quiet(60, f20=12, f21=12, f22=12)) == [21]  # without it the other two are as above
    assert told_out(quiet(60, f20=12, f21=12, f22=12, f23=12)) == []


@pytest.mark.parametrize(("height", "out"), [(50.0, False), (70.0, True)])
def test_a_frame_of_a_dithered_field_must_leave_the_dithering_too(height: float, out: bool) -> None:
    """By four robust standard deviations of the whole: 1.4826 times the median of 10 makes 59 (textbook)."""
    values = np.tile(np.repeat([10.0, -10.0], 3), 10)
    values[31] = height
    assert told_out(values) == ([31] if out else [])


@pytest.mark.parametrize(
    ("count", "height", "believed"),
    [(60, 4.2, False), (60, 5.0, True), (15, 8.6, False), (15, 9.3, True), (14, 99.0, False)],
)
def test_the_fewer_frames_the_higher_a_step_must_be(count: int, height: float, believed: bool) -> None:
    """Below three frames a side nothing is said of a step (common practice, no source)."""
    assert stepping(count, count // 2, height)[1] is believed


def test_a_step_needs_six_frames_on_either_side_where_there_are_many() -> None:
    assert stepping(60, 54, 7.0) == (54, True)
    assert stepping(60, 6, 7.0) == (6, True)
    assert not stepping(60, 57, 7.0)[1]
    assert not stepping(60, 3, 7.0)[1]
