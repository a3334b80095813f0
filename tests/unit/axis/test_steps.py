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
