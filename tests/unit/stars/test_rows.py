"""Rows that are too straight and too full for stars: drawn trails among drawn stars."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.stars.rows import in_a_row

SIZE = np.array([3000.0, 2000.0])
DIAGONAL = float(np.hypot(*SIZE))


def stars(count: int) -> np.ndarray:
    """Evenly spread, as no chance would have it: what lies in a row is what was put there. [px]"""
    golden = np.stack([np.arange(count) * 0.7548776662, np.arange(count) * 0.5698402910], axis=-1)
    return np.asarray(golden % 1 * SIZE)


def trail(count: int, slope: float = 0.31, off_px: float = 0.0, begin: float = 300.0) -> np.ndarray:
    """Pieces of a trail through the frame, to and fro of its line by so much. [px]"""
    along = np.linspace(40, 2900, count)
    across = off_px * np.resize([1.0, -1.0], count)
    norm = np.hypot(1, slope)
    return np.stack([along - slope / norm * across, begin + slope * along + across / norm], axis=-1)


def row_found(pieces: np.ndarray, others: int) -> float:
    """Part of the pieces that is told from the stars."""
    found = in_a_row(np.vstack([pieces, stars(others)]), DIAGONAL)
    return float(found[: len(pieces)].mean())


@pytest.mark.parametrize(("pieces", "is_trail"), [(14, False), (17, False), (25, True), (34, True)])
def test_twenty_in_a_row_are_no_stars(pieces: int, is_trail: bool) -> None:
    """Of a thousand stars at random, a strip of 6 px holds 3 on average; 20 have a chance of 1e-10 (Poisson)."""
    assert row_found(trail(pieces), 30) == pytest.approx(float(is_trail), abs=0.1)


@pytest.mark.parametrize(("pieces", "is_trail"), [(22, False), (25, False), (36, True)])
def test_among_many_stars_a_row_must_hold_more(pieces: int, is_trail: bool) -> None:
    """Of 1000 stars 1.7 lie in a strip as long as the diagonal. In a crowd they are some times denser than on average."""
    assert row_found(trail(pieces), 1000) == pytest.approx(float(is_trail), abs=0.1)


@pytest.mark.parametrize(("off_px", "is_trail"), [(2.0, True), (2.6, True), (3.6, False), (5.0, False)])
def test_pieces_lie_within_a_trails_own_width(off_px: float, is_trail: bool) -> None:
    """The light of a satellite is as wide as a star; its pieces, of some pixels each, lie within 3 px of its middle."""
    pieces = np.vstack([trail(60), trail(30, off_px=off_px)])
    found = in_a_row(pieces, DIAGONAL)
    assert found[:60].all()
    assert found[60:].mean() == pytest.approx(float(is_trail), abs=0.1)


@pytest.mark.parametrize("angle_deg", [0.0, 0.13, 23.4, 44.9, 90.0, 133.33, 179.6])
def test_a_trail_is_found_in_any_direction_whole(angle_deg: float) -> None:
    along = np.linspace(-1000, 1000, 60)[:, None] * [
        np.cos(np.radians(angle_deg)),
        np.sin(np.radians(angle_deg)),
    ]
    wide = np.random.default_rng(2).normal(0, 0.7, along.shape)
    assert row_found(SIZE / 2 + along + wide, 300) > 0.95


def test_many_satellites_leave_no_piece() -> None:
    """Soon after they were put up, they come in a line one behind the other, but not one on top of the other."""
    pieces = np.vstack([trail(50, 0.31 + 0.01 * k, begin=100.0 + 110 * k) for k in range(7)])
    found = in_a_row(np.vstack([pieces, stars(100)]), DIAGONAL)
    assert found[: len(pieces)].mean() > 0.98
    assert found[len(pieces) :].sum() <= 5


def test_stars_at_random_lie_in_no_row() -> None:
    rng = np.random.default_rng(12)
    for count in (0, 30, 300, 1000):
        assert not in_a_row(rng.uniform(0, SIZE, (count, 2)), DIAGONAL).any()
    grid = np.stack(np.meshgrid(np.arange(0, 3000, 150), np.arange(0, 2000, 120)), axis=-1).reshape(-1, 2)
    assert not in_a_row(grid + rng.normal(0, 1, grid.shape), DIAGONAL).any()
