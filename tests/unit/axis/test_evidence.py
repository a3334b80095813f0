"""How probable explanations are, against a library's distribution and by what chance must do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.spatial.transform import Rotation
from scipy.stats import multivariate_t

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.consensus import Consensus, scatter
from polarcheck.axis.evidence import (  # the priors by themselves, which evidence only shows in sums
    _loose,
    _moves,
    _slips,
    chances,
    log_evidence,
)
from polarcheck.axis.least_squares import solve_axis
from polarcheck.axis.mount_turns import MountTurns
from polarcheck.frames import FrameSet
from polarcheck.measurement.measurement import measure_frames
from polarcheck.vectors import Array
from tests.benchmarks.mistakes import CAUSES, Night
from tests.helpers import ARCSEC
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, camera_at, noisy, seen_by, turned


def sweep(seed: int, scale: float = 1.0, off_arcsec: float = 0.0) -> Attitudes:
    """Five frames with white noise; the third is off towards the axis."""
    rotations = noisy(turned(AXIS, np.linspace(-40, 40, 5), camera_at(AXIS, 40.0)), seed, scale=scale)
    observed = seen_by(rotations)
    sight = rotations[2].apply([0.0, 0.0, 1.0])
    about = np.cross(sight, AXIS) / np.linalg.norm(np.cross(sight, AXIS))
    observed[2] += off_arcsec * ARCSEC * np.cross(about, observed[2])
    observed /= np.linalg.norm(observed, axis=-1, keepdims=True)
    return camera_attitudes(observed, WEIGHTS, np.zeros(5, dtype=int), np.full(5, NOISE))


def explanation(attitudes: Attitudes, *without: int) -> Consensus:
    used, groups = ~np.isin(np.arange(5), without), np.zeros(5, dtype=int)
    solution = solve_axis(attitudes, groups, used, POLE)
    return Consensus(solution, groups, used, scatter(groups, used, solution))


def test_the_noise_drops_out_as_in_students_distribution() -> None:
    """Data of one geometry differ as a multivariate t density with six degrees of freedom does (scipy.stats).

    Tolerance 0.01: the linear model is that of slightly different axes.
    """
    quiet, loud = (explanation(sweep(1, scale)) for scale in (0.5, 3.0))
    every = np.ones(5, dtype=bool)
    found = [log_evidence(one, sweep(1), every, POLE) for one in (quiet, loud)]
    student = multivariate_t(np.zeros(6), np.eye(6), df=6)
    expected = [student.logpdf(np.eye(6)[0] * np.sqrt(one.chi_square)) for one in (quiet, loud)]
    assert found[0] - found[1] == pytest.approx(expected[0] - expected[1], abs=0.01)


@pytest.mark.parametrize(("off", "is_wrong"), [(0.0, False), (2.0, False), (60.0, True), (3000.0, True)])
def test_a_frame_is_wrong_where_it_is_far_off_and_only_there(off: float, is_wrong: bool) -> None:
    attitudes = sweep(2, off_arcsec=off)
    options = [explanation(attitudes), *(explanation(attitudes, i) for i in range(5))]
    chance: Array = chances(options, attitudes, POLE)
    assert chance.sum() == pytest.approx(1.0)
    assert chance[3] > 0.95 if is_wrong else chance[0] > 0.8


@pytest.mark.parametrize(
    ("cause", "seed"), [("declination moved at every position", 15), ("clock set by an hour", 12)]
)
def test_four_frames_that_look_like_another_axis_are_told_by_their_rivals(cause: str, seed: int) -> None:
    """Each was 46 and 8 times its 95 % interval off, silently: a scatter of three times the noise asked for nothing."""
    rng = np.random.default_rng([list(CAUSES).index(cause), seed])
    night = Night(rng, bool(rng.integers(2)), float(np.exp(rng.uniform(np.log(0.03), np.log(0.3)))))
    folder = CAUSES[cause][0](night)
    codes = {notice.code for notice in measure_frames(FrameSet(folder.frames, ())).notices}
    assert codes & folder.named


def of_any_decade(*sizes: float) -> float:
    """Logarithm of a density that gives each of five decades, and both signs, the same: 1 / (2 5 ln 10 r)."""
    return -sum(np.log(2 * 5 * np.log(10) * size) for size in sizes)


@pytest.mark.parametrize(("degrees", "rarer"), [(1.0, 2**1.5), (2.0, 5**1.5), (7.0, 50**1.5)])
def test_an_axis_a_degree_off_is_rarer_and_far_away_with_the_cube(degrees: float, rarer: float) -> None:
    """(1 + d^2)^(3/2), d in degrees: what the eye leaves at a small polar finder (common practice, no source)."""
    one, every = explanation(sweep(1, 0.0)), np.ones(5, dtype=bool)
    across = np.cross(one.axis, [0.0, 0.0, 1.0])
    off = Rotation.from_rotvec(np.radians(degrees) * across / np.linalg.norm(across)).apply(one.axis)
    near, far = (log_evidence(one, sweep(1, 0.0), every, pole) for pole in (one.axis, off))
    assert near - far == pytest.approx(np.log(rarer), abs=1e-6)


def test_one_frame_in_fifty_is_solved_wrongly_by_any_decade() -> None:
    """A frame without error counts as 1.5 noises off, which noise alone feigns (common practice, no source)."""
    attitudes = sweep(1, 0.0)
    one, every = explanation(attitudes, 2), np.ones(5, dtype=bool)
    whole, of_four = (log_evidence(one, attitudes, playing, POLE) for playing in (every, one.used))
    assert whole - of_four == pytest.approx(np.log(0.02) + of_any_decade(1.5, 1.5), abs=1e-3)


def slipped(slip_noises: float, when: list[int]) -> tuple[Consensus, Attitudes]:
    """Six frames without noise; declination slips by so many noises where `when` is 1."""
    rotations = turned(AXIS, np.linspace(-40, 40, 6), camera_at(AXIS, 40.0))
    about = np.cross(rotations.apply([0.0, 0.0, 1.0]), AXIS)
    about /= np.linalg.norm(about, axis=-1, keepdims=True)
    moved = Rotation.from_rotvec(about * (slip_noises * NOISE * np.array(when))[:, None]) * rotations
    attitudes = camera_attitudes(seen_by(moved), WEIGHTS, np.zeros(6, dtype=int), np.full(6, NOISE))
    groups, used = np.array(when), np.ones(6, dtype=bool)
    solution = solve_axis(attitudes, groups, used, POLE)
    return Consensus(solution, groups, used, 1.0), attitudes


@pytest.mark.parametrize(("when", "rarer"), [([0, 0, 0, 1, 1, 1], 1.0), ([0, 0, 1, 1, 0, 0], 0.05)])
def test_declination_slips_at_three_moments_in_a_thousand_and_seldom_to_and_fro(
    when: list[int], rarer: float
) -> None:
    """3 in 1000, and of such sweeps 1 in 20 goes back (common practice, no source)."""
    expected = np.log(3e-3) + of_any_decade(100.0, 1.5) + np.log(rarer)
    assert _slips(*slipped(100.0, when)) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize(("noises", "counts_as"), [(0.0, 200.0), (1000.0, 1000.0)])
def test_a_mount_is_turned_at_three_moments_in_a_thousand_and_not_by_a_little(
    noises: float, counts_as: float
) -> None:
    """A turn moves by 200 noises, a few arcmin: smaller ones are no likelier (common practice, no source)."""
    one, attitudes = slipped(0.0, [0] * 6)
    across = np.cross(one.axis, [0.0, 0.0, 1.0])
    turn = Rotation.from_rotvec(noises * NOISE * across / np.linalg.norm(across)).as_matrix()
    turned_once = replace(one, turns=MountTurns((3,), np.stack([turn, np.eye(3)])))
    size = np.hypot(counts_as, 200.0 if noises else 0.0)
    expected = np.log(3e-3) + of_any_decade(size, 200.0)
    assert _moves(turned_once, attitudes) == pytest.approx(expected, abs=0.01)


def test_a_declination_is_loose_in_one_sweep_in_a_hundred() -> None:
    """Then it moves at each position, by 200 noises or more, and by steps of one size (common practice, no source).

    Normal steps whose size is of any decade alike, by quadrature over its logarithm.
    """
    one, attitudes = slipped(0.0, [0] * 6)
    size = np.geomspace(1.0, 1e5, 4001)
    steps = size[:, None] ** -1 * np.exp(-((np.full(5, 200.0) / size[:, None]) ** 2) / 2) / np.sqrt(2 * np.pi)
    expected = trapezoid(steps.prod(axis=-1), np.log(size)) / (5 * np.log(10))
    assert _loose(one, attitudes) == pytest.approx(np.log(0.01) + np.log(expected), abs=0.01)
