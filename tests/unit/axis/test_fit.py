"""The fitted axis: its sigma, its angles, and which frame helps; against refits and ERFA."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis.fit import AxisFit, axis_angle, fit_axis, roll_ratio_of
from tests.benchmarks.cramer_rao import axis_bound, even_grid, rightward_and_upward
from tests.helpers import ARCSEC, DEG, enu, separation_arcsec
from tests.rigid_mount import (
    AXIS,
    HEIGHT_DEG,
    NOISE,
    PIXEL_ARCSEC,
    POLE,
    WEIGHTS,
    WIDTH_DEG,
    Array,
    camera_at,
    noisy,
    seen_by,
    shifted,
    turned,
)

SOUTHERN_AXIS, SOUTHERN_POLE = enu(180.5 * DEG, 31.2 * DEG), enu(np.pi, 31.4 * DEG)
CAMERA = camera_at(AXIS, 40.0)


def fitted(rotations: Rotation, pole: Array = POLE, station: list[int] | None = None) -> AxisFit:
    n = len(rotations)
    stations = None if station is None else np.array(station)
    return fit_axis(seen_by(rotations), WEIGHTS, np.full(n, NOISE), pole, station=stations)


def bound(rotations: Rotation) -> Array:
    """Cramer-Rao covariance for stars spread evenly over the sensor."""
    grid = even_grid(WIDTH_DEG * DEG, HEIGHT_DEG * DEG, 40, 30)
    stars = np.column_stack([grid, np.ones(len(grid))])
    stars /= np.linalg.norm(stars, axis=-1, keepdims=True)
    star_noise = 0.2 * PIXEL_ARCSEC * ARCSEC * np.sqrt(len(grid))
    return axis_bound(AXIS, rotations.as_matrix(), np.zeros(len(rotations), dtype=int), [stars], [star_noise])


def test_southern_axis_is_the_end_towards_the_southern_pole() -> None:
    found = fitted(turned(SOUTHERN_AXIS, [-30, 0, 30], camera_at(SOUTHERN_AXIS, 40.0)), SOUTHERN_POLE)
    assert separation_arcsec(found.axis, SOUTHERN_AXIS) < 1e-6


def test_two_frames_get_the_covariance_of_the_assumed_noise() -> None:
    rotations = noisy(turned(AXIS, [-30, 30], CAMERA), 1)
    found, expected = fitted(rotations), bound(rotations)
    assert (found.degrees_of_freedom, found.noise) == (0, 1.0)
    assert found.covariance / np.trace(expected) == pytest.approx(expected / np.trace(expected), abs=1e-3)


@pytest.mark.parametrize("scale", [0.3, 3.0])
def test_covariance_follows_the_scatter_of_the_frames(scale: float) -> None:
    # 20 frames, 36 degrees of freedom: a scale is known to 12 %, the median of 9 draws to 5 %; three of them
    rotations = turned(AXIS, np.linspace(-45, 45, 20), CAMERA)
    found = [fitted(noisy(rotations, seed, scale)) for seed in range(9)]
    assert found[0].degrees_of_freedom == 2 * 20 - 4
    assert np.median([fit.noise for fit in found]) == pytest.approx(scale, rel=0.15)
    sizes = [np.sqrt(np.trace(fit.covariance)) for fit in found]
    assert np.median(sizes) == pytest.approx(scale * np.sqrt(np.trace(bound(rotations))), rel=0.15)


def test_pulls_have_unit_variance() -> None:
    # seeded; chi square of the offset in the covariance for the true noise has mean 2 and variance 4, so
    # 150 draws leave a standard error of 0.16; tolerance four of them
    rotations, across = turned(AXIS, np.linspace(-40, 40, 6), CAMERA), rightward_and_upward(AXIS)
    pulls = []
    for seed in range(150):
        found = fitted(noisy(rotations, seed))
        off = across @ found.axis
        pulls.append(off @ np.linalg.solve(found.covariance / found.noise**2, off))
    assert np.mean(pulls) == pytest.approx(2.0, abs=0.65)


def test_repeats_at_one_station_do_not_narrow_the_sigma() -> None:
    # errors that a station's frames share, drawn once a station: sigma as from one frame each, within what few
    # residuals allow; as if independent it would be half
    once = noisy(turned(AXIS, [-40, -10, 20, 45], CAMERA), 7)
    repeated = once[np.repeat([0, 1, 2, 3], 4)]
    tiny = noisy(repeated, 8, scale=0.05)
    single = fitted(once)
    shared = fitted(tiny, station=list(np.repeat([0, 1, 2, 3], 4)))
    apart = fitted(tiny)
    assert shared.degrees_of_freedom == single.degrees_of_freedom == 4
    assert shared.noise == pytest.approx(single.noise, rel=0.2)
    assert np.trace(shared.covariance) == pytest.approx(np.trace(single.covariance), rel=0.4)
    assert np.trace(apart.covariance) < 0.5 * np.trace(shared.covariance)


@pytest.mark.parametrize("latitude_deg", [52.0, 5.0, -33.9])
def test_axis_angle_is_the_hour_angle_when_the_axis_is_the_pole(latitude_deg: float) -> None:
    # ERFA eraAe2hd; 1e-9 rad
    north = latitude_deg >= 0
    azimuth, altitude = np.meshgrid(np.arange(5, 360, 25) * DEG, np.array([10.0, 35.0, 70.0]) * DEG)
    axis = enu(0.0 if north else np.pi, abs(latitude_deg) * DEG)
    hour_angle, _ = erfa.ae2hd(azimuth, altitude, latitude_deg * DEG)
    found = axis_angle(axis, enu(azimuth, altitude), north)
    assert np.exp(1j * found) == pytest.approx(np.exp(1j * hour_angle), abs=1e-9)


@pytest.mark.parametrize(("azimuth_deg", "north"), [(1.2, True), (178.3, False)])
def test_axis_angle_is_zero_on_the_upper_meridian_and_positive_in_the_west(
    azimuth_deg: float, north: bool
) -> None:
    axis = enu(azimuth_deg * DEG, 40 * DEG)
    above = enu(azimuth_deg * DEG, np.array([60.0, 89.0]) * DEG)
    assert axis_angle(axis, above, north) == pytest.approx([0.0, 0.0], abs=1e-12)
    assert axis_angle(axis, enu(270 * DEG, 30 * DEG), north) > 0
    assert axis_angle(axis, enu(90 * DEG, 30 * DEG), north) < 0
    below = enu(azimuth_deg * DEG, 10 * DEG)
    assert abs(axis_angle(axis, below, north)) == pytest.approx(np.pi, abs=1e-9)


def test_axis_angles_grow_westward_as_the_mount_tracks() -> None:
    # the sky and a tracking mount turn left-handed about the north pole, right-handed about the south pole
    northern = fitted(turned(AXIS, [40, 10, -20], CAMERA))
    southern = fitted(turned(SOUTHERN_AXIS, [-40, -10, 20], camera_at(SOUTHERN_AXIS, 40.0)), SOUTHERN_POLE)
    for found in (northern, southern):
        assert found.axis_angles / DEG == pytest.approx([-40.0, -10.0, 20.0], abs=1e-6)
        assert found.arc / DEG == pytest.approx(60.0, abs=1e-6)


def test_arc_is_the_shortest_that_holds_all_frames() -> None:
    found = fitted(turned(AXIS, [160, 175, -170], CAMERA))
    assert found.arc / DEG == pytest.approx(30.0, abs=1e-6)


def test_residual_is_the_scatter_of_the_sensors_points() -> None:
    # by its definition: angle between seen and modelled points, root of the weighted mean square
    rotations = turned(AXIS, [-45, -15, 15, 45], CAMERA)
    found = fitted(noisy(rotations, 3))
    looks = np.einsum("nij,nkj->nki", found.solution.models, found.attitudes.templates[[0] * 4])
    apart = np.linalg.norm(looks - seen_by(noisy(rotations, 3)), axis=-1)
    assert found.residuals == pytest.approx(np.sqrt(apart**2 @ WEIGHTS), rel=1e-6)


@pytest.mark.parametrize(("good", "off_deg", "doubted"), [(4, 2.0, True), (4, 4.0, False), (5, 2.0, False)])
def test_few_frames_chosen_because_they_agree_are_not_trusted_on_their_agreement(
    good: int, off_deg: float, doubted: bool
) -> None:
    """Of five frames some four agree more often than noise lets all: the assumed noise counts, as six degrees of freedom.

    A frame degrees away was solved elsewhere: nobody chose. Five good frames have six degrees of freedom of their own.
    """
    rotations = turned(AXIS, np.linspace(-40, 40, good + 1), CAMERA)
    found = fitted(shifted(rotations, 1, off_deg * 3600, 90.0))
    assert found.used.tolist() == [True, False] + [True] * (good - 1)
    assert found.noise == pytest.approx(np.sqrt(6 / (6 + 2 * good - 4)) if doubted else 0.0, abs=1e-3)


@pytest.mark.parametrize(("noise", "ratio"), [((1.0, 0.1), 0.25), ((2.0, 0.6), 0.3), ((0.1,), 1.0)])
def test_rolls_of_tracked_frames_weigh_at_most_sixteen_times_as_much_as_stars_make_them(
    noise: tuple[float, ...], ratio: float
) -> None:
    """A quarter of the noise: where rolls seem quieter, the places are not white (common practice, no source)."""
    assert roll_ratio_of(np.array(noise)) == pytest.approx(ratio)
