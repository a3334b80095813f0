"""The same stars in two frames: found however the camera turned, and never where there are none."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.stars import nearest_pairs, pair_stars

SIZE = (3000, 2000)


def scattered(count: int, rng: np.random.Generator, size: tuple[int, int] = SIZE) -> np.ndarray:
    return rng.uniform(0, 1, (count, 2)) * size


def moved(places: np.ndarray, turn: float, shift: tuple[float, float]) -> np.ndarray:
    """Turned about the middle of the frame, then shifted, by complex numbers."""
    middle = (SIZE[0] - 1) / 2 + 1j * (SIZE[1] - 1) / 2
    there = (places @ [1, 1j] - middle) * np.exp(1j * turn) + middle + complex(*shift)
    return np.stack([there.real, there.imag], axis=-1)


@pytest.mark.parametrize(
    ("turn", "shift"),
    [(0.0, (0.0, 0.0)), (0.002, (12.0, -7.0)), (3.1, (300.0, -70.0)), (-0.3, (900.0, 100.0))],
)
@pytest.mark.parametrize(("count", "share"), [(200, 0.6), (12, 0.9)])
def test_turn_and_shift_are_found_among_stars_that_come_and_go(
    turn: float, shift: tuple[float, float], count: int, share: float
) -> None:
    rng = np.random.default_rng(count)
    if count == 12 and abs(turn) > 0.1:
        shift = (shift[0] / 10, shift[1] / 10)
    first = scattered(count, rng)
    second = moved(first, turn, shift) + rng.normal(size=first.shape) * 0.2
    gone = rng.uniform(size=count) > share
    second[gone] = scattered(int(gone.sum()), rng)
    inside = ((second > 0) & (second < SIZE)).all(axis=1)
    found = pair_stars(first, second[inside], SIZE)
    assert found is not None
    assert found.turn == pytest.approx(turn, abs=3e-4)
    assert found.shift == pytest.approx(shift, abs=0.3)
    same = np.flatnonzero(inside)[found.second] == found.first
    assert same.mean() > 0.95


@pytest.mark.parametrize(("count", "size"), [(200, SIZE), (150, (300, 200)), (6, SIZE)])
def test_stars_that_have_nothing_in_common_are_not_paired(count: int, size: tuple[int, int]) -> None:
    """Forty draws each; by the bound on chance one in a thousand would be."""
    rng = np.random.default_rng(1)
    for _ in range(40):
        assert pair_stars(scattered(count, rng, size), scattered(count, rng, size), size) is None


def test_clusters_do_not_pass_for_agreement() -> None:
    """Stars crowd in one part of each frame, which makes near neighbours likelier than even stars would."""
    rng = np.random.default_rng(2)
    for _ in range(20):
        first, second = (1000 + 60 * rng.normal(size=(150, 2)) for _ in range(2))
        assert pair_stars(first, second, SIZE) is None


@pytest.mark.parametrize("count", [0, 1, 4])
def test_too_few_stars_tell_nothing(count: int) -> None:
    rng = np.random.default_rng(3)
    some = scattered(count, rng)
    assert pair_stars(some, some, SIZE) is None
    assert pair_stars(some, scattered(100, rng), SIZE) is None


def test_points_pair_once_and_only_within_reach() -> None:
    first = np.array([[0.0, 0.0], [10.0, 0.0], [30.0, 0.0]])
    second = np.array([[0.4, 0.0], [0.1, 0.0], [10.0, 1.5]])
    mine, theirs = nearest_pairs(first, second, 2.0)
    assert list(zip(mine.tolist(), theirs.tolist(), strict=True)) == [(0, 1), (1, 2)]
    assert not len(nearest_pairs(first, second, 0.05)[0])
