"""What counts as one observation, and roll against pointing."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.stats import t as t_distribution

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.least_squares import solve_axis
from polarcheck.axis.noise import Equations, distinct_stations, observation_equations, roll_ratio
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, camera_at, noisy, seen_by, turned

CAMERA = camera_at(AXIS, 50.0)


def equations_of(
    rotations: Rotation, groups: list[int] | None = None, station: list[int] | None = None
) -> Equations:
    n = len(rotations)
    group = np.zeros(n, dtype=int) if groups is None else np.array(groups)
    attitudes = attitudes_of(rotations)
    used = np.ones(n, dtype=bool)
    solution = solve_axis(attitudes, group, used, POLE)
    stations = np.arange(n) if station is None else np.array(station)
    return observation_equations(attitudes, solution, group, used, stations)


def attitudes_of(rotations: Rotation) -> Attitudes:
    n = len(rotations)
    return camera_attitudes(seen_by(rotations), WEIGHTS, np.zeros(n, dtype=int), np.full(n, NOISE))


def spread(count: int) -> np.ndarray:
    return np.linspace(-45.0, 45.0, count)


@pytest.mark.parametrize(
    ("groups", "expected"),
    [([0] * 2, 0), ([0] * 3, 2), ([0] * 6, 8), ([0] * 4 + [1] * 3, 8), ([0] * 2 + [1] * 2, 2)],
)
def test_degrees_of_freedom_are_two_a_frame_less_two_and_two_a_group(
    groups: list[int], expected: int
) -> None:
    # three numbers a frame; unknown are the axis (2), a turn a frame, and a camera attitude a group of which the
    # turn is already counted (2)
    rotations = Rotation.concatenate(
        [turned(AXIS, spread(groups.count(g)), camera_at(AXIS, 40.0 + 20 * g)) for g in sorted(set(groups))]
    )
    assert equations_of(rotations, groups).degrees_of_freedom == expected


def test_weighted_squares_of_the_misfits_follow_chi_square() -> None:
    # white star noise as assumed; 300 sweeps of 4 frames: chi square of 4 degrees of freedom has mean 4 and
    # variance 8; tolerance 4 standard errors
    values = []
    for seed in range(300):
        equations = equations_of(noisy(turned(AXIS, spread(4), CAMERA), seed))
        information, gradient, chi_square = equations.normal(1.0)
        values.append(chi_square - gradient @ np.linalg.solve(information, gradient))
    assert np.mean(values) == pytest.approx(4.0, abs=4 * np.sqrt(8 / 300))
    assert np.var(values) == pytest.approx(8.0, rel=0.5)


def test_frames_at_one_station_count_once() -> None:
    rotations = noisy(turned(AXIS, [-45, -45, -45, 0, 0, 45], CAMERA), 1)
    equations = equations_of(rotations, station=[0, 0, 0, 1, 1, 2])
    assert len(equations.groups) == 3
    assert equations.degrees_of_freedom == 2


def test_repeats_at_a_station_add_no_information() -> None:
    # the same three places once and four times each: an error that a station's frames share does not average out
    once = equations_of(turned(AXIS, [-45, 0, 45], CAMERA))
    repeated = equations_of(
        turned(AXIS, np.repeat([-45, 0, 45], 4), CAMERA), station=list(np.repeat([0, 1, 2], 4))
    )
    assert repeated.normal(1.0)[0] == pytest.approx(once.normal(1.0)[0], rel=1e-6, abs=1.0)


def test_misfits_of_a_station_are_averaged() -> None:
    rotations = turned(AXIS, [-45, -45, 0, 45], CAMERA)
    given = np.array([[3.0, 0.0], [1.0, 4.0], [0.0, 0.0], [-2.0, 1.0]]) * 1e-6
    attitudes, used = attitudes_of(rotations), np.ones(4, dtype=bool)
    group = np.zeros(4, dtype=int)
    solution = solve_axis(attitudes, group, used, POLE)
    equations = observation_equations(attitudes, solution, group, used, np.array([0, 0, 1, 2]), given)
    means = np.array([[2.0, 2.0], [0.0, 0.0], [-2.0, 1.0]])
    assert equations.misfit / 1e-6 == pytest.approx(means - means.mean(axis=0), abs=1e-12)


def test_a_field_tracked_alone_keeps_its_frames_apart() -> None:
    station, used = np.array([0, 0, 0, 0]), np.ones(4, dtype=bool)
    assert len(set(distinct_stations(station, np.zeros(4, dtype=int), used))) == 4


def test_stations_stay_where_the_mount_went_to_several_places() -> None:
    station, used = np.array([0, 0, 1, 1]), np.ones(4, dtype=bool)
    assert list(distinct_stations(station, np.zeros(4, dtype=int), used)) == [0, 0, 1, 1]


def test_each_group_is_asked_for_itself() -> None:
    station, groups = np.array([0, 0, 1, 1, 2]), np.array([0, 0, 1, 1, 1])
    found = distinct_stations(station, groups, np.ones(5, dtype=bool))
    assert found[0] != found[1]
    assert list(found[2:]) == [1, 1, 2]


@pytest.mark.parametrize("count", [2, 3])
def test_few_frames_cannot_tell_roll_from_pointing(count: int) -> None:
    assert roll_ratio(equations_of(noisy(turned(AXIS, spread(count), CAMERA), 1, roll_scale=30.0))) == 1.0


@pytest.mark.parametrize("true_ratio", [0.5, 1.0, 4.0])
def test_roll_ratio_of_many_frames_is_that_of_their_noise(true_ratio: float) -> None:
    # 40 frames, 38 roll residuals: a standard error of 12 %; the median of 15 draws to 15 %
    found = [
        roll_ratio(equations_of(noisy(turned(AXIS, spread(40), CAMERA), seed, roll_scale=true_ratio)))
        for seed in range(15)
    ]
    assert np.median(found) == pytest.approx(true_ratio, rel=0.15)


def test_ordinary_noise_of_five_frames_hardly_moves_the_roll_ratio() -> None:
    found = [roll_ratio(equations_of(noisy(turned(AXIS, spread(5), CAMERA), seed))) for seed in range(60)]
    assert np.mean((np.array(found) > 2 / 3) & (np.array(found) < 1.5)) > 0.9


def test_five_frames_may_tell_roll_from_pointing() -> None:
    """Two of their six residuals are in roll: seldom enough, but here they are."""
    assert roll_ratio(equations_of(noisy(turned(AXIS, spread(5), CAMERA), 1, roll_scale=30.0))) > 10


def test_roll_ratio_is_that_of_the_greatest_restricted_likelihood_and_a_prior_around_one() -> None:
    """Patterson and Thompson 1971, from memory, computed with full matrices; the prior is Student's t with two degrees
    of freedom, a quarter wide in the logarithm.
    """
    grid, found, expected = np.geomspace(0.25, 128, 73), [], []
    for seed in range(12):
        equations = equations_of(noisy(turned(AXIS, spread(8), CAMERA), seed, roll_scale=2.5))
        count = len(equations.groups)
        ones, none = np.ones(count), np.zeros(count)
        constants = np.stack([np.stack([ones, none], axis=-1), np.stack([none, ones], axis=-1)], axis=-1)
        rows = np.concatenate([equations.design, constants], axis=-1).reshape(2 * count, 4)
        y = equations.misfit.ravel()
        costs = []
        for ratio in grid:
            variance = np.stack([ones, equations.roll_variances(ratio)], axis=-1) / equations.weights[:, None]
            weight = 1 / variance.ravel()
            normal, right = rows.T @ (weight[:, None] * rows), rows.T @ (weight * y)
            chi = y @ (weight * y) - right @ np.linalg.solve(normal, right)
            prior = t_distribution.logpdf(np.log(ratio) / 0.25, 2)
            costs.append(
                (2 * count - 4) * np.log(chi)
                - np.log(weight).sum()
                + np.linalg.slogdet(normal)[1]
                - 2 * prior
            )
        found.append(roll_ratio(equations))
        expected.append(grid[int(np.argmin(costs))])
    assert found == pytest.approx(expected)
    assert len(set(found)) > 4
