"""How probable explanations are, against a library's distribution and by what chance must do."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_t

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.consensus import Consensus, scatter
from polarcheck.axis.evidence import chances, log_evidence
from polarcheck.axis.least_squares import solve_axis
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
