"""An axis against a pole: signs and units by the conventions, sizes by astropy and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.coordinates import angular_separation
from scipy import stats

from polarcheck.alignment.error import AxisError, axis_error, interval_factor, side_words
from polarcheck.alignment.state import Alignment, Step
from polarcheck.errors import InputError
from polarcheck.frames.sensor import Sensor
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, standard_atmosphere
from polarcheck.sky.observed import Sky
from tests.helpers import DEG, enu

ARCMIN = DEG / 60
NONE = np.zeros((2, 2))
NORTH, SOUTH, EQUATOR = Site(52.0, 0.0), Site(-33.9, 18.5), Site(0.0, 100.0)


def error_at(azimuth_deg: float, altitude_deg: float, site: Site) -> AxisError:
    return axis_error(enu(azimuth_deg * DEG, altitude_deg * DEG), NONE, 4, Sky.over(site).true_pole)


def test_axis_east_of_northern_pole_gives_positive_azimuth_error() -> None:
    assert error_at(0.5, 52.0, NORTH).azimuth_arcmin == pytest.approx(30.0, abs=1e-9)
    assert error_at(359.5, 52.0, NORTH).azimuth_arcmin == pytest.approx(-30.0, abs=1e-9)


def test_axis_west_of_southern_pole_gives_positive_azimuth_error() -> None:
    # azimuth 180.5 lies west of south
    assert error_at(180.5, 33.9, SOUTH).azimuth_arcmin == pytest.approx(30.0, abs=1e-9)
    assert error_at(179.5, 33.9, SOUTH).azimuth_arcmin == pytest.approx(-30.0, abs=1e-9)


@pytest.mark.parametrize(("site", "azimuth", "altitude"), [(NORTH, 0.0, 52.0), (SOUTH, 180.0, 33.9)])
def test_axis_above_the_pole_gives_positive_altitude_error(
    site: Site, azimuth: float, altitude: float
) -> None:
    assert error_at(azimuth, altitude + 0.25, site).altitude_arcmin == pytest.approx(15.0, abs=1e-9)
    assert error_at(azimuth, altitude - 0.25, site).altitude_arcmin == pytest.approx(-15.0, abs=1e-9)


def test_the_equator_counts_as_north() -> None:
    assert error_at(0.5, 0.0, EQUATOR).azimuth_arcmin == pytest.approx(30.0, abs=1e-9)


def test_total_error_of_the_derived_example() -> None:
    # azimuth 30', altitude 20' at latitude 52: 27.1770' on the great circle (27.2238' would be the plain root of
    # squares), derived by hand and equal to astropy's angular_separation. 1e-4', its last digit
    error = error_at(0.5, 52.0 + 20 / 60, NORTH)
    assert error.total_arcmin == pytest.approx(27.1770, abs=1e-4)
    astropy = angular_separation(0.0, 52.0 * DEG, 0.5 * DEG, (52.0 + 20 / 60) * DEG) / ARCMIN
    assert error.total_arcmin == pytest.approx(float(astropy), abs=1e-9)


@pytest.mark.parametrize(("latitude_deg", "expected"), [(30.0, 8.66025), (52.0, 6.15661), (-30.0, 8.66025)])
def test_azimuth_error_on_the_sky_shrinks_with_the_cosine_of_the_altitude(
    latitude_deg: float, expected: float
) -> None:
    # 10' times cos 30 and cos 52 deg
    azimuth = 10 / 60 + (0.0 if latitude_deg > 0 else 180.0)
    error = error_at(azimuth, abs(latitude_deg), Site(latitude_deg, 0.0))
    assert error.azimuth_on_sky_arcmin == pytest.approx(expected, abs=1e-5)


def test_azimuth_error_is_wrapped_to_half_a_turn() -> None:
    assert error_at(190.0, 52.0, NORTH).azimuth_arcmin == pytest.approx(-170 * 60, abs=1e-6)
    assert error_at(10.0, 33.9, SOUTH).azimuth_arcmin == pytest.approx(-170 * 60, abs=1e-6)


def test_sigmas_are_students_and_in_the_unit_of_their_values() -> None:
    # scipy.stats.t; the sigma of an angle about the vertical is larger than that on the sky
    covariance = np.array([[4.0, 1.2], [1.2, 9.0]]) * ARCMIN**2
    axis = enu(0.5 * DEG, 60.0 * DEG)
    error = axis_error(axis, covariance, 3, Sky.over(Site(59.8, 0.0)).true_pole)
    near, wide = stats.t.ppf([0.84135, 0.975], 3)
    assert error.azimuth_sigma_arcmin == pytest.approx(near * 2.0 / 0.5, rel=1e-4)
    assert error.altitude_sigma_arcmin == pytest.approx(near * 3.0, rel=1e-4)
    assert error.azimuth_95_arcmin == pytest.approx(wide * 2.0 / 0.5, rel=1e-6)
    assert error.altitude_95_arcmin == pytest.approx(wide * 3.0, rel=1e-6)
    assert error.correlation == pytest.approx(0.2, rel=1e-9)


def test_sigma_of_the_total_is_that_along_the_line_from_pole_to_axis() -> None:
    # axis straight above its pole: the total is the altitude error; straight beside: the azimuth on the sky
    covariance = np.diag([4.0, 9.0]) * ARCMIN**2
    above = axis_error(enu(0.0, 52.5 * DEG), covariance, 0, Sky.over(NORTH).true_pole)
    beside = axis_error(enu(0.5 * DEG, 52.0 * DEG), covariance, 0, Sky.over(NORTH).true_pole)
    assert above.total_sigma_arcmin == pytest.approx(above.altitude_sigma_arcmin, rel=1e-9)
    assert beside.total_sigma_arcmin == pytest.approx(2.0, rel=1e-3)


@pytest.mark.parametrize("degrees", [1, 2, 4, 12, 200])
@pytest.mark.parametrize("probability", [0.6827, 0.95])
def test_interval_factor_is_students(degrees: int, probability: float) -> None:
    expected = stats.t.ppf((1 + probability) / 2, degrees)
    assert interval_factor(probability, degrees) == pytest.approx(expected, rel=1e-9)


def test_known_noise_has_normal_intervals() -> None:
    # one and 1.959964 standard errors: tables of the normal distribution
    assert interval_factor(0.6827, 0) == pytest.approx(1.0, abs=1e-4)
    assert interval_factor(0.95, 0) == pytest.approx(1.959964, abs=1e-6)


def test_largest_drift_is_the_sidereal_rate_times_the_error() -> None:
    # 15.041067"/s over 206264.8" a radian: 0.2625"/min for 1'; the drift rule "3.81 x drift / minutes" (common
    # practice, no source) turned round gives 1 / 3.81 = 0.2625
    error = error_at(0.0, 52.0 + 1 / 60, NORTH)
    assert error.largest_drift_arcsec_per_min == pytest.approx(1 / 3.81, rel=1e-3)


@pytest.mark.parametrize(
    ("azimuth", "altitude", "north", "words"),
    [(1, 1, True, ("east", "high")), (-1, -1, True, ("west", "low")), (1, -1, False, ("west", "low"))],
)
def test_words_for_the_side(azimuth: float, altitude: float, north: bool, words: tuple[str, str]) -> None:
    assert side_words(azimuth, altitude, north) == words


def test_alignment_without_a_covariance_has_no_sigma() -> None:
    air = standard_atmosphere(0.0)
    given = Alignment(Sky(NORTH, air), "refracted", enu(0.2 * DEG, 52.1 * DEG))
    assert given.error.azimuth_arcmin == pytest.approx(12.0, abs=1e-9)
    assert given.error.azimuth_sigma_arcmin == given.error.altitude_95_arcmin == 0.0


def test_refracted_and_true_pole_differ_by_the_refraction_there() -> None:
    # ERFA's model at latitude 52, 1010 hPa, 10 deg C, dry, 0.574 um: 45.25", computed beforehand
    air = Atmosphere(1010.0, 10.0, 0.0, 0.574)
    axis = enu(0.0, 52.0 * DEG)
    errors = [
        axis_error(axis, NONE, 0, pole)
        for pole in (Sky.over(NORTH).true_pole, Sky(NORTH, air).refracted_pole)
    ]
    assert (errors[0].altitude_arcmin - errors[1].altitude_arcmin) * 60 == pytest.approx(45.25, abs=0.02)


@pytest.mark.parametrize(
    ("other", "alike"),
    [
        (Sensor(1200, 900, 4.95 * 1.01, False), True),
        (Sensor(1200, 900, 4.95 * 1.03, False), False),
        (Sensor(1200, 900, 4.95 / 1.03, False), False),
        (Sensor(900, 1200, 4.95, False), False),
        (Sensor(1200, 900, 4.95, True), False),
    ],
)
def test_sensors_are_told_apart(other: Sensor, alike: bool) -> None:
    assert Sensor(1200, 900, 4.95, False).is_like(other) is alike


def test_most_of_the_total_error_is_one_sided() -> None:
    """95 % of a normal distribution lie below so many standard errors (scipy)."""
    covariance = np.eye(2) * (0.5 * ARCMIN) ** 2
    error = axis_error(enu(0.5 * DEG, 52.2 * DEG), covariance, 0, Sky.over(NORTH).true_pole)
    above = (error.total_most_arcmin - error.total_arcmin) / error.total_sigma_arcmin
    assert above == pytest.approx(stats.norm.ppf(0.95), abs=1e-3)


def test_the_largest_sigma_is_that_along_the_long_side_of_the_ellipse() -> None:
    # semi-axes 3 and 1 arcmin, turned by 30 deg: the eigenvalues do not change, the diagonal does
    turn = np.array([[np.cos(np.pi / 6), -0.5], [0.5, np.cos(np.pi / 6)]])
    covariance = turn @ np.diag([9.0, 1.0]) @ turn.T * ARCMIN**2
    found = Alignment(Sky.over(NORTH), "true", enu(0.0, 52.0 * DEG), covariance, 4)
    assert found.largest_sigma_arcmin == pytest.approx(3.0)
    assert Alignment(Sky.over(NORTH), "true", enu(0.0, 52.0 * DEG)).largest_sigma_arcmin == 0.0


def test_an_error_stands_clear_beyond_its_interval_and_not_within() -> None:
    # known noise of 1 arcmin in altitude: 1.96 arcmin at 95 %, by the tables of the normal distribution
    covariance = np.eye(2) * ARCMIN**2
    beyond, within = (
        Alignment(Sky.over(NORTH), "true", enu(0.0, (52.0 + off / 60) * DEG), covariance)
        for off in (1.97, 1.95)
    )
    assert beyond.stands_clear == (False, True)
    assert within.stands_clear == (False, False)


@pytest.mark.parametrize(
    ("latitude", "longitude", "is_here"),
    [(52.2, 0.0, True), (51.7, 0.0, False), (52.0, 0.4, True), (52.0, 359.5, True), (52.0, -0.6, False)],
)
def test_a_night_goes_on_at_one_place(latitude: float, longitude: float, is_here: bool) -> None:
    """Headers round to a tenth of a degree, or to whole minutes; 0.3 deg is 30 km away, with a mount set up anew."""
    axis = enu(0.0, 52.0 * DEG)
    earlier, now = (
        Alignment(
            Sky.over(Site(*place)), "true", axis, NONE, steps=(Step((2461359.5, part), 0.0, 52.0, NONE),)
        )
        for place, part in (((latitude, longitude), 0.3), ((52.0, 0.0), 0.4))
    )
    if is_here:
        assert len(now.continuing(earlier, None).steps) == 2
    else:
        with pytest.raises(InputError, match="of another place"):
            now.continuing(earlier, None)
