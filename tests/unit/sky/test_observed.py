"""The sky room at its edges: impossible air, shapes, signs; its numbers are checked in tests/reference."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from polarcheck.errors import InputError, PolarcheckError
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, refraction, standard_atmosphere
from polarcheck.sky.observed import Sky
from polarcheck.sky.sun_and_moon import sun_altitude_deg
from tests.helpers import ARCSEC, DEG, altitude_of, enu, separation_arcsec, sphere_lattice, utc_date

NORTHERN, SOUTHERN = Site(52.0, 0.0), Site(-33.9, 18.5)
AIR = Atmosphere(1010.0, 10.0)
UTC = np.concatenate([utc_date(2026, 11, 25, hour) for hour in (18, 20, 22)])


@pytest.mark.parametrize(
    ("pressure", "temperature", "wrong"),
    [
        (-1.0, 10.0, "pressure"),
        (1200.0, 10.0, "pressure"),
        (math.nan, 10.0, "pressure"),
        (1e5, 10.0, "pressure"),
    ]
    + [(1010.0, -81.0, "temperature"), (1010.0, 283.0, "temperature"), (1010.0, math.nan, "temperature")],
)
def test_impossible_air_is_refused_by_name(pressure: float, temperature: float, wrong: str) -> None:
    """Pascal given for hectopascal, kelvin for degrees Celsius, and worse."""
    with pytest.raises(InputError, match=wrong) as caught:
        Atmosphere(pressure, temperature)
    assert isinstance(caught.value, PolarcheckError)


def test_air_of_the_highest_place_is_taken_and_pressure_in_kilopascal_is_not() -> None:
    """264.4 hPa at 10 km and 101.325 kPa at sea level (U.S. Standard Atmosphere 1976, tables I and IV, from memory)."""
    assert Atmosphere(264.4, -50.0).pressure_hpa == 264.4
    with pytest.raises(InputError, match="in another unit"):
        Atmosphere(101.325, 15.0)


def test_unknown_humidity_is_taken_midway_and_the_light_as_green() -> None:
    """Midway between dry and saturated air errs least; V light is of 0.551 um (Bessell 2005, from memory)."""
    standard, low = standard_atmosphere(0.0, temperature_c=35.0), 20 * DEG
    dry, wet = (refraction(low, replace(standard, relative_humidity=part)) for part in (0.0, 1.0))
    assert refraction(low, standard) == pytest.approx((dry + wet) / 2, abs=0.1 * abs(dry - wet))
    assert refraction(low, Atmosphere(1013.25, 35.0)) == pytest.approx(refraction(low, standard), abs=1e-12)
    green = replace(standard, wavelength_um=0.551)
    assert refraction(low, standard) == pytest.approx(refraction(low, green), abs=0.1 * ARCSEC)


def test_measured_air_stands_instead_of_the_standard_one() -> None:
    assert standard_atmosphere(0.0, pressure_hpa=990.0).pressure_hpa == 990.0
    assert standard_atmosphere(0.0, pressure_hpa=990.0).temperature_c == 15.0
    assert standard_atmosphere(0.0, temperature_c=-20.0).pressure_hpa == pytest.approx(1013.25)
    assert standard_atmosphere(0.0, pressure_hpa=0.0).pressure_hpa == 0.0


@pytest.mark.parametrize("site", [NORTHERN, SOUTHERN], ids=["north", "south"])
def test_many_directions_of_many_moments_are_carried_one_by_one(site: Site) -> None:
    """Shape (n, k, 3) in and out; each entry as if it had been asked alone."""
    stars = np.stack([sphere_lattice(7), sphere_lattice(7)[::-1], sphere_lattice(7)])
    together = Sky(site, AIR).observed(stars, UTC)
    assert together.shape == (3, 7, 3)
    assert np.linalg.norm(together, axis=-1) == pytest.approx(np.ones((3, 7)))
    for moment in range(3):
        for star in (0, 6):
            alone = Sky(site, AIR).observed(stars[moment, star][None, None], UTC[moment][None])[0, 0]
            assert separation_arcsec(together[moment, star], alone) < 1e-6


@pytest.mark.parametrize("site", [NORTHERN, SOUTHERN], ids=["north", "south"])
@pytest.mark.parametrize(("azimuth_deg", "climbs"), [(90, True), (270, False)], ids=["east", "west"])
def test_stars_climb_in_the_east_and_sink_in_the_west(site: Site, azimuth_deg: float, climbs: bool) -> None:
    """Over an hour; so the Earth turns the right way and longitudes are not mirrored."""
    now = enu([azimuth_deg * DEG], [20 * DEG])[None]
    star = Sky(site, AIR).icrs(now, UTC[:1])
    later = Sky(site, AIR).observed(star, UTC[:1] + [[0.0, 1 / 24]])
    assert (altitude_of(later)[0, 0] > 20 * DEG) == climbs


@pytest.mark.parametrize(
    ("site", "to_the_left"), [(NORTHERN, True), (SOUTHERN, False)], ids=["north", "south"]
)
def test_star_above_the_pole_moves_west(site: Site, to_the_left: bool) -> None:
    """Counterclockwise for someone who faces north, clockwise for someone who faces south."""
    pole = Sky.over(site).true_pole
    above = enu([pole.azimuth_deg * DEG], [(pole.altitude_deg + 10) * DEG])[None]
    star = Sky(site, AIR).icrs(above, UTC[:1])
    motion = (Sky(site, AIR).observed(star, UTC[:1] + [[0.0, 0.02]]) - above)[0, 0]
    left_hand = np.cross([0.0, 0.0, 1.0], enu(pole.azimuth_deg * DEG, 0.0))
    assert motion[0] < -0.01
    assert (motion @ left_hand > 0) == to_the_left


def test_pole_kinds_differ_by_refraction_only() -> None:
    refracted, true = (Sky(SOUTHERN, AIR).pole(kind) for kind in ("refracted", "true"))
    assert (refracted.kind, true.kind) == ("refracted", "true")
    assert refracted.azimuth_deg == true.azimuth_deg == 180.0
    lift = (refracted.altitude_deg - true.altitude_deg) * DEG
    assert lift == pytest.approx(refraction(33.9 * DEG, AIR), abs=1e-6 * ARCSEC)
    assert Sky(SOUTHERN, Atmosphere(0.0, 10.0)).refracted_pole.altitude_deg == pytest.approx(33.9, abs=1e-12)


def test_direction_of_a_pole_is_north_or_south_of_the_zenith() -> None:
    assert Sky.over(NORTHERN).true_pole.direction == pytest.approx([0, np.cos(52 * DEG), np.sin(52 * DEG)])
    assert Sky.over(SOUTHERN).true_pole.direction == pytest.approx(
        [0, -np.cos(33.9 * DEG), np.sin(33.9 * DEG)]
    )
    assert Sky.over(Site(0.0, 0.0)).true_pole.direction == pytest.approx([0, 1, 0])


def test_refraction_is_finite_everywhere_and_never_negative() -> None:
    for altitude_deg in (-90.0, -5.0, 0.0, 3.0, 89.999, 90.0):
        lift = refraction(altitude_deg * DEG, AIR) / ARCSEC
        assert 0 <= lift < 1000


def test_dates_without_leap_seconds_give_places_without_warnings() -> None:
    """Warnings are errors in these tests; a date beyond the Earth rotation table still gives a place."""
    far = np.array([[2400000.5, 70000.25]])
    place = Sky(NORTHERN, AIR).observed(sphere_lattice(3)[None], far)
    assert np.isfinite(place).all()


def test_sun_is_high_at_noon_and_deep_at_midnight() -> None:
    """At a June solstice at 52 N, altitude 90 - 52 + 23.4 deg and its opposite (geometry; 0.1 deg)."""
    utc = np.concatenate([utc_date(2026, 6, 21, 12, 2), utc_date(2026, 6, 22, 0, 2)])
    assert sun_altitude_deg(utc, NORTHERN) == pytest.approx([61.44, -14.56], abs=0.1)
