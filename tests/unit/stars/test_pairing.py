"""The same stars in two frames: found however the camera turned, and never where there are none."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from scipy.stats import binom

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


def sheared(places: np.ndarray, edge_px: float) -> np.ndarray:
    """As refraction does it low in the sky: the frame gets lower, by so much at its edges. [px]"""
    y = places[:, 1] - (SIZE[1] - 1) / 2
    return np.stack([places[:, 0], places[:, 1] - edge_px * y / (SIZE[1] / 2)], axis=-1)


def test_stars_that_refraction_shifts_by_a_pixel_and_a_half_are_paired() -> None:
    """Its differential part, 0.17 % of 1000 px, is half of it after a turn and a shift took what they can."""
    first = scattered(300, np.random.default_rng(4))
    found = pair_stars(first, sheared(first, 1.7), SIZE)
    assert found is not None
    assert len(found.first) == len(first)
    assert (found.first == found.second).all()


@pytest.mark.parametrize(
    ("size", "off_px", "is_paired"),
    [
        ((300, 200), 0.8, True),
        ((300, 200), 1.7, False),
        ((3000, 2000), 1.5, True),
        ((3000, 2000), 2.8, False),
        ((9000, 6000), 3.3, True),
        ((9000, 6000), 5.8, False),
    ],
)
def test_a_star_far_from_where_its_partner_should_be_is_another(
    size: tuple[int, int], off_px: float, is_paired: bool
) -> None:
    """Centres are right to a part of a pixel, however large the frame; refraction and distortion move stars by a part
    of the frame, some ten-thousandths. What is farther off has come.
    """
    first = scattered(60, np.random.default_rng(5), size)
    second = first + [5.0, 3.0]
    second[40:46, 0] += off_px
    found = pair_stars(first, second, size)
    assert found is not None
    assert np.isin(np.arange(40, 46), found.first).tolist() == [is_paired] * 6


def test_forty_marks_brighter_than_all_stars_do_not_hide_them() -> None:
    """Hot pixels, say, that no dark frame has taken off: each frame begins with other ones."""
    rng = np.random.default_rng(6)
    stars = scattered(100, rng)
    first, second = (
        np.vstack([scattered(40, rng), some]) for some in (stars, moved(stars, 0.05, (30.0, -9.0)))
    )
    found = pair_stars(first, second, SIZE)
    assert found is not None
    assert np.isin(np.arange(40, 140), found.first).mean() > 0.95


def test_a_crowd_takes_no_more_room_than_fifty_stars() -> None:
    """Each two stars of the one frame vote with each two of the other: 200 would take 256 times as much as 50."""
    taken = []
    for count in (50, 200):
        first = scattered(count, np.random.default_rng(7))
        second = moved(first, 0.02, (5.0, 5.0))
        tracemalloc.start()
        assert pair_stars(first, second, SIZE) is not None
        taken.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert taken[1] < 2 * taken[0]


@pytest.mark.parametrize(
    ("side", "within", "is_paired"), [(755, (5e-4, 1e-3), True), (690, (1e-3, 2e-3), False)]
)
def test_what_chance_would_bring_about_once_in_a_thousand_frames_is_taken(
    side: int, within: tuple[float, float], is_paired: bool
) -> None:
    """Six of sixty stars agree. By chance each has a partner within reach (as above) as often as circles of it cover the
    frame; as many turns and shifts may bring it about as there are two reaches apart, at the corners for a turn.
    """
    rng = np.random.default_rng(8)
    first, second = (scattered(60, rng, (side, side)) for _ in range(2))
    second[:6] = first[:6]
    reach = 1 + 3e-4 * np.hypot(side, side)
    tries = (side / reach) ** 2 * (2 * np.pi * side / np.sqrt(2) / (2 * reach))
    chance = tries * binom.sf(5, 60, 60 * np.pi * reach**2 / side**2)
    assert within[0] < chance < within[1]
    assert (pair_stars(first, second, (side, side)) is not None) == is_paired
    assert len(nearest_pairs(first, second, 2 * reach)[0]) == 6
