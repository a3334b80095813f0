"""The axis fit against worked examples, bounds and scipy.

Sources: the worked examples were derived independently of this code (a cross-check, not a publication); the
bound is the Cramer-Rao bound of N attitudes with free turns, from a linear model per frame.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.fit import axis_angle, fit_axis
from polarcheck.axis.least_squares import axis_of_turn, solve_axis
from polarcheck.vectors import Array, azalt_from_direction, direction_from_azalt, tangent_basis

ARCSEC = np.pi / 180 / 3600
POLE = direction_from_azalt(0.0, np.radians(52.0))


def isotropic(matrices: Array, sigma: float) -> Attitudes:
    """Attitudes whose pointing and roll are equally sure: three directions at right angles, roll moment 1."""
    observed = np.einsum("nij,kj->nki", matrices, np.eye(3))
    count = len(matrices)
    plain = camera_attitudes(observed, np.full(3, 1 / 3), np.zeros(count, dtype=int), np.full(count, sigma))
    return replace(plain, roll_moments=np.ones(1))


def narrow_camera(half: float = 0.01) -> tuple[Array, Array]:
    """Directions and weights of nine points of a square field whose roll moment is 2 half^2 / 3."""
    line, weights = np.array([-1, 0, 1]) * np.sqrt(0.6) * half, np.array([5, 8, 5]) / 18
    x, y = np.meshgrid(line, line)
    points = np.stack([x.ravel(), y.ravel(), np.ones(9)], axis=-1)
    return points / np.linalg.norm(points, axis=1, keepdims=True), np.outer(weights, weights).ravel()


def sweep(axis: Array, turns_deg: Array, distance_deg: float, noise: Array | None = None) -> Array:
    """Observed points of a camera `distance` from the axis; `noise` holds rotation vectors in the camera."""
    template, _ = narrow_camera()
    up = tangent_basis(axis)[:, 1]
    boresight = Rotation.from_rotvec(np.cross(axis, up) * np.radians(distance_deg)).apply(axis)
    side = np.cross(axis, up)
    camera = np.stack([side, np.cross(boresight, side), boresight], axis=-1)
    matrices = (
        Rotation.from_rotvec(np.outer(np.radians(turns_deg), axis)) * Rotation.from_matrix(camera)
    ).as_matrix()
    if noise is not None:
        matrices = matrices @ Rotation.from_rotvec(noise).as_matrix()
    return np.einsum("nij,kj->nki", matrices, template)


def test_four_attitudes_give_the_derived_axis_turns_and_chi_square() -> None:
    """Derived worked example, four attitudes (camera to East-North-Up), isotropic, free turns.

    Tolerance 2e-6 deg, as the example states; chi square to its printed digits.
    """
    vectors = [
        (0.100011025, 0.199989294, 0.300021239),
        (0.08660383, -0.140458407, -0.097851443),
        (0.069052921, -0.479300184, -0.496945392),
        (0.047093353, -0.816532123, -0.897226943),
    ]
    attitudes = isotropic(Rotation.from_rotvec(vectors).as_matrix(), ARCSEC)
    start, _ = axis_of_turn(attitudes.matrices[3], attitudes.matrices[0])
    found = solve_axis(attitudes, np.zeros(4, dtype=int), np.ones(4, dtype=bool), start)
    azimuth, altitude = np.degrees(azalt_from_direction(found.axis))
    assert azimuth == pytest.approx(0.4995636, abs=2e-6)
    assert altitude == pytest.approx(52.1004442, abs=2e-6)
    turns = np.degrees(found.turns - found.turns[0])[1:]
    assert turns == pytest.approx([-29.999938, -60.000171, -90.001005], abs=2e-6)
    assert found.chi_square == pytest.approx(105.615, abs=2e-3)
    sigma = np.sqrt(np.diag(np.linalg.inv(found.information))) / ARCSEC
    assert sigma == pytest.approx([0.9125, 0.9125], abs=1e-4)


def test_two_attitudes_turn_about_the_screw_axis() -> None:
    """Derived worked example: R2 R1^-1 has angle 60 deg and, reversed, axis az 0.5, alt 52.1 deg."""
    first = Rotation.from_rotvec((0.1, 0.2, 0.3)).as_matrix()
    second = Rotation.from_rotvec((0.06905437, -0.47933025, -0.49692836)).as_matrix()
    axis, angle = axis_of_turn(first, second)
    assert np.degrees(angle) == pytest.approx(60.0, abs=1e-5)
    assert np.degrees(azalt_from_direction(-axis)) == pytest.approx([0.5, 52.1], abs=1e-5)


@pytest.mark.parametrize(
    ("turns", "declination", "pointing", "roll", "normal", "tangential", "covariance"),
    [
        ((0, 40, 80), 30, 2, 2, 2.153, 2.153, 0.0),
        ((-45, -22.5, 0, 22.5, 45), 30, 2, 2, 1.711, 1.711, 0.0),
        ((0, 60), 0, 2, 2, 2.828, 2.828, 0.0),
        ((0, 40, 80), 30, 1, 10, 3.586, 3.068, 9.777),
        ((0, 40, 80), 0, 1, 10, 3.689, 3.153, 10.41),
        ((0, 20, 40), 60, 1, 20, 13.657, 5.331, 66.33),
    ],
)
def test_covariance_is_the_cramer_rao_bound(
    turns: tuple[float, ...],
    declination: float,
    pointing: float,
    roll: float,
    normal: float,
    tangential: float,
    covariance: float,
) -> None:
    """Bound table, derived: two principal sigmas [arcsec] and covariance of the axis' displacement.

    The table gives the field's declination in the mount's frame, so it stands 90 deg minus that from the
    axis. Tolerance 0.2 % and 0.01: what the table's rounding does to the eigenvalues.
    """
    axis = direction_from_azalt(np.radians(0.6), np.radians(52.0))
    _, weights = narrow_camera()
    moment = 2 * 0.01**2 / 3
    observed = sweep(axis, np.array(turns), 90.0 - declination)
    noise = np.full(len(turns), pointing * ARCSEC)
    attitudes = camera_attitudes(observed, weights, np.zeros(len(turns), dtype=int), noise)
    ratio = roll / pointing * np.sqrt(moment)
    found = solve_axis(
        attitudes, np.zeros(len(turns), dtype=int), np.ones(len(turns), dtype=bool), axis, roll_ratio=ratio
    )
    bound = np.linalg.inv(found.information) / ARCSEC**2
    ours = np.sort(np.linalg.eigvalsh(bound))
    expected = np.sort(np.linalg.eigvalsh([[normal**2, covariance], [covariance, tangential**2]]))
    assert ours == pytest.approx(expected, rel=2e-3, abs=0.01)


def test_scatter_of_the_fit_is_its_covariance() -> None:
    """300 seeded trials of five frames, noise 1 arcsec in pointing: the chi square of the axis' offsets, with
    the covariance for the true noise, has mean 2 (two components); tolerance 5 sigma of that mean, 0.58.
    """
    rng = np.random.default_rng(20261114)
    axis = direction_from_azalt(np.radians(0.6), np.radians(52.3))
    _, weights = narrow_camera()
    turns = np.array([-40.0, -20.0, 0.0, 20.0, 40.0])
    sigmas = np.array([1.0, 1.0, 1 / np.sqrt(2 * 0.01**2 / 3)]) * ARCSEC
    distances = []
    for _ in range(300):
        seen = sweep(axis, turns, 40.0, rng.normal(size=(5, 3)) * sigmas)
        fit = fit_axis(seen, weights, np.full(5, ARCSEC), POLE)
        offset = tangent_basis(fit.axis).T @ (axis - fit.axis)
        true_covariance = fit.covariance / fit.noise**2
        distances.append(offset @ np.linalg.solve(true_covariance, offset))
    assert np.mean(distances) == pytest.approx(2.0, abs=0.58)


def test_design_is_the_derivative_of_the_modelled_attitude() -> None:
    """The analytic Jacobian against a difference quotient made with scipy's rotations, displacement 1e-5 rad:
    tolerance 1e-4, ten times the quotient's own error.
    """
    axis = direction_from_azalt(np.radians(10.0), np.radians(50.0))
    _, weights = narrow_camera()
    observed = sweep(axis, np.array([-30.0, 10.0, 50.0]), 35.0)
    attitudes = camera_attitudes(observed, weights, np.zeros(3, dtype=int), np.full(3, ARCSEC))
    found = solve_axis(attitudes, np.zeros(3, dtype=int), np.ones(3, dtype=bool), axis)
    step = 1e-5
    for k in range(2):
        lever = np.cross(axis, tangent_basis(axis)[:, k])
        moved = Rotation.from_rotvec(step * lever) * Rotation.from_matrix(found.models)
        inside = (Rotation.from_matrix(found.models).inv() * moved).as_rotvec() / step
        expected = np.einsum("ic,ni->nc", found.planes[0], inside)
        assert found.design[:, :, k] == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("north", [True, False])
def test_axis_angle_is_the_hour_angle_when_the_axis_is_the_pole(north: bool) -> None:
    """ERFA hd2ae (hour angle, declination to azimuth, altitude) at 20 places; tolerance 1e-9 rad."""
    import erfa

    latitude = np.radians(47.0 if north else -31.0)
    axis = direction_from_azalt(0.0 if north else np.pi, abs(latitude))
    hours = np.linspace(-3.0, 3.0, 20)
    azimuth, altitude = erfa.hd2ae(hours, np.full(20, 0.3), latitude)
    assert axis_angle(axis, direction_from_azalt(azimuth, altitude), north) == pytest.approx(hours, abs=1e-9)
