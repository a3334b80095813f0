"""What is set before dark, against almanac libraries, published examples and one observed case."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import files
from typing import Any

import ephem
import numpy as np
import pytest
from skyfield.api import Star, load, load_file, wgs84

from polarcheck.planning import compass_at, pole_stars, rough_setup
from polarcheck.planning.bodies import moon_at, sun_at
from polarcheck.site import Site
from polarcheck.sky import AIRLESS, Atmosphere, Sky, stars_near_pole
from polarcheck.times import seconds_between, utc_from_iso
from tests.helpers import DEG

ARCMIN_DEG = 1 / 60
SITES = [Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0), Site(0.0, -179.9), Site(69.5, 18.9, 50.0)]
TIMES = ["2026-11-14T13:40:00", "2026-06-21T20:00:00", "2013-03-09T05:30:00", "2029-01-03T22:15:00"]


@pytest.fixture(scope="module")
def almanac() -> Iterator[Any]:
    """Skyfield's DE421 from the package skyfield-data; no download."""
    ephemeris = load_file(str(files("skyfield_data") / "data" / "de421.bsp"))
    yield ephemeris
    ephemeris.close()


def skyfield_time(text: str) -> Any:
    date, clock = text.split("T")
    return load.timescale(builtin=True).utc(*map(int, date.split("-")), *map(int, clock.split(":")))


@pytest.mark.parametrize("site", SITES, ids=str)
@pytest.mark.parametrize("time", TIMES)
@pytest.mark.parametrize("name", ["sun", "moon"])
def test_sun_and_moon_agree_with_skyfield(almanac: Any, site: Site, time: str, name: str) -> None:
    """Airless, azimuth on the sky and altitude within 0.2 arcmin: the analytic Moon errs by 0.1."""
    here = almanac["earth"] + wgs84.latlon(site.latitude_deg, site.longitude_deg, site.height_m)
    altitude, azimuth, _ = here.at(skyfield_time(time)).observe(almanac[name]).apparent().altaz()
    utc, sky = utc_from_iso(time), Sky(site, AIRLESS)
    found = sun_at(utc, sky) if name == "sun" else moon_at(utc, sky).body
    across = ((found.azimuth_deg - azimuth.degrees + 180) % 360 - 180) * np.cos(found.altitude_deg * DEG)
    assert abs(across) < 0.2 * ARCMIN_DEG
    assert found.airless_altitude_deg == pytest.approx(altitude.degrees, abs=0.2 * ARCMIN_DEG)


@pytest.mark.parametrize("site", SITES[:3], ids=str)
@pytest.mark.parametrize("hour", range(0, 24, 3))
@pytest.mark.parametrize("name", ["sun", "moon"])
def test_sun_and_moon_as_seen_agree_with_ephem(site: Site, hour: int, name: str) -> None:
    """With refraction, down to the horizon, within 1 arcmin; ephem has a formula of its own (1010 hPa, 10 deg C)."""
    observer = ephem.Observer()
    observer.lat, observer.lon = site.latitude_deg * DEG, site.longitude_deg * DEG
    observer.elevation, observer.pressure, observer.temp = site.height_m, 1010.0, 10.0
    observer.date = ephem.Date((2026, 11, 14, hour, 20, 0))
    theirs = ephem.Sun(observer) if name == "sun" else ephem.Moon(observer)
    utc, sky = utc_from_iso(f"2026-11-14T{hour:02d}:20:00"), Sky(site, Atmosphere(1010.0, 10.0))
    found = sun_at(utc, sky) if name == "sun" else moon_at(utc, sky).body
    if -2 * DEG < theirs.alt < -0.5 * DEG:
        return  # seen through no air that anybody models
    across = ((found.azimuth_deg - theirs.az / DEG + 180) % 360 - 180) * np.cos(found.altitude_deg * DEG)
    assert abs(across) < ARCMIN_DEG
    assert found.altitude_deg == pytest.approx(theirs.alt / DEG, abs=ARCMIN_DEG)


def test_sun_agrees_with_the_nrel_example() -> None:
    """Reda & Andreas (2004), NREL/TP-560-34302, worked example (read as quoted in public libraries): azimuth 194.340241,
    refracted zenith distance 50.111622 deg, 820 mbar, 11 deg C. Tolerance 0.003 deg: it takes UT1-UTC as 0."""
    sky = Sky(Site(39.742476, -105.1786, 1830.14), Atmosphere(820.0, 11.0))
    sun = sun_at(utc_from_iso("2003-10-17T19:30:30"), sky)
    assert sun.azimuth_deg == pytest.approx(194.340241, abs=0.003)
    assert 90 - sun.altitude_deg == pytest.approx(50.111622, abs=0.003)
    assert sun.shadow_azimuth_deg == pytest.approx(14.340241, abs=0.003)


@pytest.mark.parametrize(
    ("time", "hours"),
    [
        # Meeus, Astronomical Algorithms, 2nd ed., example 12.a p. 88 (apparent) and 12.b p. 89 (mean, 0.23 s apart),
        # read in soniakeys/meeus @bfbd9ac; IAU 1982 against 2006: 0.004 s. UT1-UTC there 0: table says -0.4 s at most.
        ("1987-04-10T00:00:00", 13 + 10 / 60 + 46.1351 / 3600),
        ("1987-04-10T19:21:00", 8 + 34 / 60 + 56.853 / 3600),
    ],
)
def test_sidereal_time_agrees_with_meeus(time: str, hours: float) -> None:
    sky = Sky(Site(0.0, 0.0), AIRLESS)
    found = float(sky.sidereal_time(np.array([utc_from_iso(time)]))[0]) / DEG / 15
    assert found * 3600 == pytest.approx(hours * 3600, abs=0.5)


@pytest.mark.parametrize("site", SITES, ids=str)
@pytest.mark.parametrize("time", TIMES)
def test_sidereal_time_agrees_with_skyfield(site: Site, time: str) -> None:
    """Within 0.5 s: skyfield forecasts UT1 in its own way."""
    theirs = wgs84.latlon(site.latitude_deg, site.longitude_deg).lst_hours_at(skyfield_time(time))
    ours = rough_setup(Sky.over(site), utc_from_iso(time)).sidereal_time_h
    assert ((ours - theirs + 12) % 24 - 12) * 3600 == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("site", SITES[:3], ids=str)
@pytest.mark.parametrize("date", ["2026-11-14", "2026-03-21"])
def test_sun_sinks_when_ephem_says(site: Site, date: str) -> None:
    """Sunset (-0.83 deg), the pole star by eye (-8 deg) and full darkness (-18 deg), airless centre, within 30 s."""
    observer = ephem.Observer()
    observer.lat, observer.lon = site.latitude_deg * DEG, site.longitude_deg * DEG
    observer.pressure = 0
    utc = utc_from_iso(f"{date}T12:00:00")
    times = rough_setup(Sky.over(site), utc).sun_times
    for found, horizon in ((times.sunset, "-0.83"), (times.pole_star, "-8"), (times.dark, "-18")):
        assert found is not None
        observer.date, observer.horizon = f"{date} 12:00:00", horizon
        theirs = observer.next_setting(ephem.Sun(), use_center=True)
        assert seconds_between(utc, found) == pytest.approx((theirs - observer.date) * 86400, abs=30)


# Hipparcos (1997), epoch J1991.25: read in the NOVAS data (Polaris); sigma Octantis for J2000 from memory
POLARIS = Star(
    ra_hours=37.94614689 / 15,
    dec_degrees=89.26413805,
    ra_mas_per_year=44.22,
    dec_mas_per_year=-11.74,
    parallax_mas=7.56,
    epoch=2448349.0625,
)
SIGMA_OCTANTIS = Star(
    ra_hours=(21, 8, 46.8636),
    dec_degrees=(-88, 57, 23.398),
    ra_mas_per_year=25.96,
    dec_mas_per_year=5.02,
)


@pytest.mark.parametrize("time", TIMES)
@pytest.mark.parametrize(
    ("site", "star"),
    [
        (SITES[0], POLARIS),
        (SITES[3], POLARIS),
        (SITES[1], SIGMA_OCTANTIS),
        (Site(-78, 166.7), SIGMA_OCTANTIS),
    ],
    ids=str,
)
def test_pole_star_agrees_with_skyfield(almanac: Any, site: Site, star: Star, time: str) -> None:
    """Offsets from the pole within 0.05 arcmin (the bar is 0.1), hour angle within what that is at its distance."""
    here = almanac["earth"] + wgs84.latlon(site.latitude_deg, site.longitude_deg, site.height_m)
    apparent = here.at(skyfield_time(time)).observe(star).apparent()
    altitude, azimuth, _ = apparent.altaz()
    hour_angle, declination, _ = apparent.hadec()
    found = pole_stars(utc_from_iso(time), Sky(site, AIRLESS))[0]
    pole_azimuth = 0.0 if site.is_north else 180.0
    across = (azimuth.degrees - pole_azimuth + 180) % 360 - 180
    shrink = np.cos(altitude.radians)
    assert found.azimuth_offset_arcmin * shrink == pytest.approx(60 * across * shrink, abs=0.05)
    assert found.altitude_offset_arcmin == pytest.approx(
        60 * (altitude.degrees - abs(site.latitude_deg)), abs=0.05
    )
    assert found.distance_arcmin == pytest.approx(60 * (90 - abs(declination.degrees)), abs=0.02)
    turn = (found.hour_angle_h - hour_angle.hours + 12) % 24 - 12
    assert abs(turn * 15 * 60 * np.sin(found.distance_arcmin / 60 * DEG)) < 0.05


@pytest.mark.parametrize(
    ("site", "distance", "hour_angle_deg"),
    [(Site(52.0, 0.0), 37.27, 317.5009), (Site(-33.9, 18.5), 69.13, 60.6601)],
)
def test_pole_star_agrees_with_what_was_computed_beforehand(
    site: Site, distance: float, hour_angle_deg: float
) -> None:
    """2026-11-25 20:00 UTC: polar distance by four libraries, hour angle by ERFA; 0.02 deg of hour angle."""
    found = pole_stars(utc_from_iso("2026-11-25T20:00:00"), Sky(site, AIRLESS))[0]
    assert found.distance_arcmin == pytest.approx(distance, abs=0.01)
    assert found.hour_angle_h * 15 == pytest.approx(hour_angle_deg, abs=0.02)


def test_polaris_as_observed_in_2013() -> None:
    """Common practice, no source: in 2013 at local sidereal time 18.6 h, 51 deg north, Polaris stands near ten o'clock
    in an inverting polar finder; within half an hour of the clock face."""
    sky = Sky.over(Site(51.0, 0.0))
    utc = utc_from_iso("2013-06-01T01:57:30")
    assert float(sky.sidereal_time(np.array([utc]))[0]) / DEG / 15 == pytest.approx(18.6, abs=0.02)
    assert pole_stars(utc, sky)[0].clock_inverted == pytest.approx(10.0, abs=0.5)


@pytest.mark.parametrize("north", [True, False])
def test_named_stars_are_those_of_the_sky(north: bool) -> None:
    """Right ascension and declination of J2000 to a tenth of a degree on the sky, and V, from memory."""
    known = {
        "Polaris": (2.530, 89.264, 2.0),
        "lambda Ursae Minoris": (17.283, 89.038, 6.4),
        "delta Ursae Minoris": (17.537, 86.586, 4.4),
        "sigma Octantis": (21.146, -88.956, 5.4),
        "chi Octantis": (18.913, -87.606, 5.3),
        "tau Octantis": (23.468, -87.482, 5.5),
        "upsilon Octantis": (22.527, -85.967, 5.8),
    }
    from polarcheck.sky import NEIGHBOURS

    catalogue = stars_near_pole(north)
    for number, name in NEIGHBOURS[north].items():
        i = int(np.flatnonzero(catalogue.hip == number)[0])
        hours, declination, magnitude = known[name]
        ra, dec = hours * 15 * DEG, declination * DEG
        expected = np.array([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)])
        assert catalogue.places[i] @ expected > np.cos(0.1 * DEG)
        assert catalogue.magnitudes[i] == pytest.approx(magnitude, abs=0.3)


@pytest.mark.parametrize(
    ("time", "height_km", "latitude", "longitude", "declination_deg"),
    [
        # WMM2025 test values (NOAA/NCEI), read in the package ahrs 0.4.0, WMM2025_TEST_VALUES.txt
        ("2025-01-01T00:00:00", 0, 80, 0, 1.28),
        ("2025-01-01T00:00:00", 0, 0, 120, -0.16),
        ("2025-01-01T00:00:00", 0, -80, 240, 68.78),
        ("2027-07-02T12:00:00", 0, 80, 0, 2.59),
        ("2027-07-02T12:00:00", 0, 0, 120, -0.24),
        ("2027-07-02T12:00:00", 0, -80, 240, 68.49),
    ],
)
def test_magnetic_declination_agrees_with_the_published_test_values(
    time: str, height_km: float, latitude: float, longitude: float, declination_deg: float
) -> None:
    """Printed to 0.01 deg, so within 0.006; the bar is 0.01."""
    compass = compass_at(Site(latitude, longitude, 1000.0 * height_km), utc_from_iso(time))
    assert compass.declination_deg == pytest.approx(declination_deg, abs=0.006)
    toward = 0.0 if latitude >= 0 else 180.0
    assert compass.bearing_deg == pytest.approx((toward - declination_deg) % 360, abs=0.006)


def test_uncertainty_of_the_magnetic_declination_is_the_published_one() -> None:
    """WMM2025 error model sqrt(0.26^2 + (5417 nT / H)^2) deg, read in westphae/geomag, pull request 8."""
    compass = compass_at(Site(47.3, 11.2), utc_from_iso("2026-11-14T20:00:00"))
    assert compass.horizontal_nt is not None
    assert compass.sigma_deg == pytest.approx(np.hypot(0.26, 5417 / compass.horizontal_nt), rel=1e-6)
