"""The axis fit against the Cramer-Rao bound in each direction, and against fits of fewer numbers.

The expected values were derived independently of this package, with scipy's optimisers and rotations and a
closed form for free turns: a cross-check, not a published source.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.least_squares import AxisSolution, solve_axis
from polarcheck.vectors import Array, azalt_from_direction
from tests.benchmarks.cramer_rao import axis_bound, rightward_and_upward
from tests.helpers import ARCSEC, DEG, enu
from tests.rigid_mount import AXIS, WEIGHTS, camera_at, seen_by, turned

Case = tuple[list[float], float, float, float, float, float, float]

NEAR = enu(0.5 * DEG, 52.1 * DEG)
PERTURBED = [(20.001813, 39.999167), (26.601718, 45.993525), (30.433634, 53.275274), (29.462271, 60.945198)]

BOUNDS: dict[str, Case] = {
    # turns, declination, sigma of pointing and of roll ["]; bound radial, tangential ["], covariance ["^2]
    "isotropic": ([0, 40, 80], 30, 2, 2, 2.153, 2.153, 0),
    "isotropic, two": ([0, 60], 0, 2, 2, 2.828, 2.828, 0),
    "weak roll": ([0, 40, 80], 30, 1, 10, 3.586, 3.068, 9.777),
    "weak roll, equator": ([0, 40, 80], 0, 1, 10, 3.689, 3.153, 10.41),
    "weak roll, short arc": ([0, 20, 40], 60, 1, 20, 13.657, 5.331, 66.33),
}


def attitudes_of(rotations: Rotation, sigma_arcsec: float = 1.0) -> Attitudes:
    n = len(rotations)
    noise = np.full(n, sigma_arcsec * ARCSEC)
    return camera_attitudes(seen_by(rotations), WEIGHTS, np.zeros(n, dtype=int), noise)


def fitted(attitudes: Attitudes, start: Array, roll_over_pointing: float) -> AxisSolution:
    n = len(attitudes.matrices)
    ratio = float(np.sqrt(attitudes.roll_moments[0])) * roll_over_pointing
    return solve_axis(attitudes, np.zeros(n, dtype=int), np.ones(n, dtype=bool), start, roll_ratio=ratio)


def azalt_deg(direction: Array) -> tuple[float, float]:
    azimuth, altitude = azalt_from_direction(direction)
    return float(azimuth) / DEG, float(altitude) / DEG


def test_two_attitudes_with_noise() -> None:
    # scipy's least squares with free angles; 2e-6 deg: the vectors have 9 decimals
    pair = Rotation.from_rotvec(
        [[0.100011025, 0.199989294, 0.300021239], [0.047093353, -0.816532123, -0.897226943]]
    )
    solution = fitted(attitudes_of(pair), NEAR, roll_over_pointing=1.0)
    assert azalt_deg(solution.axis) == pytest.approx((0.4991386, 52.1003180), abs=2e-6)


def test_where_roll_tells_nothing_the_fit_is_a_circle_through_the_fields() -> None:
    # scipy's fit by angular radius: azimuth 0.492341, altitude 52.098312, radius 18.052948 deg, to 2e-5 deg; 1" of
    # noise gives 5.46" in azimuth on the sky and 1.13" in altitude
    azimuth, altitude = np.array(PERTURBED).T * DEG
    places = enu(azimuth, altitude)
    right = np.cross(NEAR, places)
    right /= np.linalg.norm(right, axis=-1, keepdims=True)
    rotations = Rotation.from_matrix(np.stack([right, np.cross(places, right), places], axis=-1))
    attitudes = attitudes_of(rotations)
    solution = fitted(attitudes, NEAR, roll_over_pointing=1e4)
    assert azalt_deg(solution.axis) == pytest.approx((0.492341, 52.098312), abs=2e-5)
    radii = np.arccos(solution.models @ attitudes.boresights[0] @ solution.axis) / DEG
    assert radii == pytest.approx(18.052948, abs=2e-5)
    sigma = np.sqrt(np.diag(np.linalg.inv(solution.information))) / ARCSEC
    assert sigma == pytest.approx([5.46, 1.13], abs=0.01)


@pytest.mark.parametrize("case", BOUNDS.values(), ids=list(BOUNDS))
def test_covariance_points_where_the_bound_does(case: Case) -> None:
    # closed form; 5e-4: its printed figures
    turns, declination, pointing, roll, radial, tangential, covariance = case
    rotations = turned(AXIS, turns, camera_at(AXIS, 90.0 - declination))
    solution = fitted(attitudes_of(rotations, pointing), AXIS, roll / pointing)
    found = np.linalg.inv(solution.information) / ARCSEC**2
    # the camera starts on the zenith's side of the axis: radial is altitude, and right-handed from there is east
    assert np.sqrt(np.diag(found)) == pytest.approx([tangential, radial], rel=5e-4)
    assert found[0, 1] == pytest.approx(covariance, rel=5e-4, abs=1e-3)


@pytest.mark.parametrize("case", [case for case in BOUNDS.values() if case[3] > case[2]])
def test_numeric_fisher_matrix_of_the_benchmarks_gives_the_same_bound(case: Case) -> None:
    # stars on a ring: pointing by their number, roll by its radius. 2 %: a ring 0.1 rad wide is not flat
    turns, declination, pointing, roll, radial, tangential, covariance = case
    angle = np.arange(8) * np.pi / 4
    ring = np.stack([np.cos(angle), np.sin(angle), np.full(8, roll / pointing)], axis=-1)
    ring /= np.linalg.norm(ring, axis=-1, keepdims=True)
    rotations = turned(AXIS, turns, camera_at(AXIS, 90.0 - declination)).as_matrix()
    group = np.zeros(len(turns), dtype=int)
    found = axis_bound(AXIS, rotations, group, [ring], [pointing * np.sqrt(8) * ARCSEC]) / ARCSEC**2
    assert np.sqrt(np.diag(found)) == pytest.approx([tangential, radial], rel=0.02)
    assert found[0, 1] == pytest.approx(covariance, rel=0.04)


def test_errors_scatter_as_the_bound_says() -> None:
    # 600 seeded draws: a root mean square has a standard error of 2.9 %, the tolerance is three of them
    turns, declination, pointing, roll, radial, tangential, _ = BOUNDS["weak roll"]
    rng = np.random.default_rng(11)
    true = turned(AXIS, turns, camera_at(AXIS, 90.0 - declination))
    across = rightward_and_upward(AXIS)
    errors = []
    for _ in range(600):
        draw = rng.normal(size=(len(turns), 3)) * np.array([pointing, pointing, roll]) * ARCSEC
        attitudes = attitudes_of(true * Rotation.from_rotvec(draw), pointing)
        errors.append(across @ fitted(attitudes, AXIS, roll / pointing).axis / ARCSEC)
    rms = np.sqrt(np.mean(np.square(errors), axis=0))
    assert rms == pytest.approx([tangential, radial], rel=0.09)
