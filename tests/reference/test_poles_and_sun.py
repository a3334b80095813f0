"""The poles, the pole stars and the Sun against published places."""

from __future__ import annotations

import erfa
import numpy as np
import pytest

from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere
from polarcheck.sky.earth import EarthOrientation
from polarcheck.sky.epochs import Epochs
from polarcheck.sky.observed import Sky
from polarcheck.sky.sun_and_moon import sun_altitude_deg
from tests.helpers import (
    ARCSEC,
    DEG,
    HOUR,
    Array,
    enu,
    hour_angle_declination,
    icrs,
    separation_arcsec,
    sphere_points,
    terrestrial_time,
    utc_date,
)

AIRLESS = Atmosphere(0.0, 10.0)
MAS = ARCSEC / 1000


def earth_with(ut1_minus_utc_s: float) -> EarthOrientation:
    """Given UT1-UTC, no polar motion."""
    return EarthOrientation(np.array([ut1_minus_utc_s]), np.zeros(1), np.zeros(1))


def place_of_date(
    star: tuple[float, float, float, float, float, float], utc: Array, site: Site, ut1_minus_utc_s: float
) -> tuple[Array, Array]:
    """Apparent place (equinox of date, as a unit vector) and the airless East-North-Up direction.

    The star is RA, Dec [rad], proper motion (RA without cos Dec) and (Dec) [rad/yr], parallax [arcsec],
    radial velocity [km/s] at J2000; space motion and parallax come first (eraAtcc13), the rest is ours.
    Sidereal time is GAST of IAU 2006/2000A (eraGst06a).
    """
    tt = terrestrial_time(utc)
    ra, dec = erfa.atcc13(*star, *tt)
    earth = earth_with(ut1_minus_utc_s)
    seen = Sky(site, AIRLESS).observed(icrs(ra, dec)[None, None], Epochs.of(utc, earth))[0, 0]
    hour_angle, declination = hour_angle_declination(seen, site.latitude_deg * DEG)
    sidereal = erfa.gst06a(utc[0, 0], utc[0, 1] + ut1_minus_utc_s / 86400, *tt)
    return icrs(sidereal + site.longitude_deg * DEG - hour_angle, declination), seen


POLARIS_2000 = (
    2.530301028 * HOUR,
    89.264109444 * DEG,
    44.22 * MAS / np.cos(89.264109444 * DEG),
    -11.75 * MAS,
    0.00756,
    -17.4,
)
# Sigma Octantis, HIP 104382 (from memory): 21h08m46.8636s, -88d57'23.398", 25.96 and 5.02 mas/yr, 11 mas
SIGMA_OCTANTIS_2000 = (
    (21 + 8 / 60 + 46.8636 / 3600) * HOUR,
    -(88 + 57 / 60 + 23.398 / 3600) * DEG,
    25.96 * MAS / np.cos(88.9565 * DEG),
    5.02 * MAS,
    0.011,
    0.0,
)


@pytest.mark.parametrize(
    ("jd_tt", "ra_h", "dec_deg"),
    [
        (2450203.5, 2.446988922, 89.24635149),
        (2450417.5, 2.509480139, 89.25196813),
        (2450300.5, 2.481177533, 89.24254404),
    ],
)
def test_polaris_agrees_with_the_novas_checkout_file(jd_tt: float, ra_h: float, dec_deg: float) -> None:
    """USNO NOVAS C 3.1 checkout: topocentric place of date of Polaris, 45 N 75 W, TT-UT1 60 s (read as
    quoted in a public Go port). TAI-UTC was 30 s throughout 1996, so UT1-UTC is 2.184 s there.

    Tolerance 0.0005": other routines for the same theories; ERFA itself is 0.13 mas away.
    """
    tai_utc_s, tt_tai_s = 30.0, 32.184
    utc = np.array([[jd_tt, -(tai_utc_s + tt_tai_s) / 86400]])
    ours, _ = place_of_date(POLARIS_2000, utc, Site(45.0, -75.0), tai_utc_s + tt_tai_s - 60.0)
    assert separation_arcsec(ours, icrs(ra_h * HOUR, dec_deg * DEG)) < 0.0005


def test_theta_persei_agrees_with_meeus() -> None:
    """Meeus, Astronomical Algorithms, 2nd ed., examples 21.b and 23.a, pp. 135, 152: apparent place on
    2028-11-13.19 TD (result read in soniakeys/meeus v3; star data of J2000 from memory).

    Observed from the pole, where there is no diurnal aberration. Tolerance 0.3": the book uses older
    theories and rounds (independent modern libraries differ from it by 0.06").
    """
    star = (
        (2 + 44 / 60 + 11.986 / 3600) * HOUR,
        (49 + 13 / 60 + 42.48 / 3600) * DEG,
        0.03425 / 3600 * HOUR,
        -0.0895 * ARCSEC,
        0.0,
        0.0,
    )
    utc = np.array([[2462088.5, 0.19 - 69.184 / 86400]])
    ours, _ = place_of_date(star, utc, Site(90.0, 0.0), 0.0)
    book = icrs((2 + 46 / 60 + 14.390 / 3600) * HOUR, (49 + 21 / 60 + 7.45 / 3600) * DEG)
    assert separation_arcsec(ours, book) < 0.3


@pytest.mark.parametrize(
    ("star", "site", "azimuth_deg", "altitude_deg", "hour_angle_deg", "distance_arcmin"),
    [
        (POLARIS_2000, Site(52.0, 0.0), 0.68871, 52.45603, 317.5016, 37.27),
        (SIGMA_OCTANTIS_2000, Site(-33.9, 18.5), 181.21814, 34.45856, 60.6608, 69.13),
    ],
    ids=["Polaris", "Sigma Octantis"],
)
def test_pole_stars_agree_with_skyfield(
    star: tuple[float, float, float, float, float, float],
    site: Site,
    azimuth_deg: float,
    altitude_deg: float,
    hour_angle_deg: float,
    distance_arcmin: float,
) -> None:
    """2026-11-25 20:00 UTC, UT1-UTC -0.085 s, airless: azimuth, altitude and hour angle by skyfield 1.55
    with DE421, computed beforehand. Star data: Hipparcos (1997).

    Tolerance 0.2": five decimals (0.04"), and catalogues of the stars differ by 0.015". Hour angle 0.003
    deg, which is 0.2" so close to the pole; the distance from the pole to its last digit.
    """
    utc = utc_date(2026, 11, 25, 20)
    _, seen = place_of_date(star, utc, site, -0.085)
    assert separation_arcsec(seen, enu(azimuth_deg * DEG, altitude_deg * DEG)) < 0.2
    hour_angle, declination = hour_angle_declination(seen, site.latitude_deg * DEG)
    assert hour_angle / DEG % 360 == pytest.approx(hour_angle_deg, abs=0.003)
    assert (90 - abs(declination) / DEG) * 60 == pytest.approx(distance_arcmin, abs=0.006)


@pytest.mark.parametrize("latitude_deg", [52.0, 0.0, -33.9, 78.2], ids=str)
def test_sky_turns_about_the_true_pole(latitude_deg: float) -> None:
    """A star's places over one sidereal day lie on a circle; its plane is square to the pole (geometry).

    Tolerance 1": polar motion (0.5") tilts the axis of rotation against the site's own latitude, which
    is what `true_pole` states; diurnal aberration and half a day of precession add 0.1".
    """
    site, steps = Site(latitude_deg, 18.5), np.arange(48)
    utc = np.repeat(utc_date(2024, 8, 12), 48, axis=0)
    utc[:, 1] += steps * 0.9972696 / 48
    star = np.repeat(sphere_points(1, seed=3)[None], 48, axis=0)
    places = Sky(site, AIRLESS).observed(star, utc)[:, 0]
    _, _, axes = np.linalg.svd(places - places.mean(axis=0))
    pole = enu(Sky.over(site).true_pole.azimuth_deg * DEG, Sky.over(site).true_pole.altitude_deg * DEG)
    assert separation_arcsec(axes[2] * np.sign(axes[2] @ pole), pole) < 1.0


@pytest.mark.parametrize("latitude_deg", [52.0, -33.9], ids=["north", "south"])
def test_air_carries_the_star_at_the_pole_to_the_refracted_pole(latitude_deg: float) -> None:
    """The one place that stands still all day seen through air is the refracted pole (by definition).

    The still place is found from skies an eighth of a day apart: the ICRS place that the air shows at the
    refracted pole now is seen there later too. Tolerance 1": polar motion 0.5" and aberration that turns.
    """
    site, air = Site(latitude_deg, 18.5), Atmosphere(1010.0, 10.0)
    utc = np.repeat(utc_date(2024, 8, 12), 8, axis=0)
    utc[:, 1] += np.arange(8) / 8
    tt = terrestrial_time(utc)
    x, y, s = erfa.xys06a(*tt)
    pole_of_date = np.sign(latitude_deg) * erfa.c2ixys(x, y, s)[2]
    # undo annual aberration and deflection, so that the apparent place is the pole of date
    ra, dec, _ = erfa.atic13(0.0, np.sign(latitude_deg) * np.pi / 2, *tt)
    assert separation_arcsec(icrs(ra, dec), pole_of_date) < 21.0
    star = np.repeat(icrs(ra, dec)[None, None], 8, axis=0)
    seen = Sky(site, air).observed(star, utc)[:, 0]
    assert separation_arcsec(seen, Sky(site, air).refracted_pole.direction).max() < 1.0


def test_pole_is_due_north_or_due_south_and_as_high_as_the_latitude() -> None:
    """Definition of the astronomical pole; the equator counts as north by our convention."""
    cases = {
        52.0: (0.0, 52.0),
        -33.9: (180.0, 33.9),
        0.0: (0.0, 0.0),
        90.0: (0.0, 90.0),
        -90.0: (180.0, 90.0),
    }
    for latitude, (azimuth, altitude) in cases.items():
        pole = Sky.over(Site(latitude, 0.0)).true_pole
        assert (pole.azimuth_deg, pole.altitude_deg) == (azimuth, altitude)


def test_refracted_pole_never_passes_the_zenith() -> None:
    """At the Earth's poles refraction vanishes."""
    assert Sky(Site(90.0, 0.0), Atmosphere(1013.25, -20.0)).refracted_pole.altitude_deg == pytest.approx(
        90.0, abs=1e-6
    )


def test_sun_agrees_with_the_nrel_example() -> None:
    """Reda & Andreas (2004), NREL/TP-560-34302, worked example (read as quoted in public libraries):
    2003-10-17 19:30:30 UTC, airless zenith distance 50.127954 deg. Tolerance 0.001 deg: the example
    ignores UT1-UTC (0.0003 deg in altitude).
    """
    altitude = sun_altitude_deg(utc_date(2003, 10, 17, 19, 30, 30.0), Site(39.742476, -105.1786, 1830.14))
    assert 90 - altitude[0] == pytest.approx(50.127954, abs=0.001)


@pytest.mark.parametrize(
    ("site", "hour", "altitude_deg"),
    [(Site(52.0, 0.0), 12, 17.142), (Site(52.0, 0.0), 15, 5.913), (Site(-33.9, 18.5), 16, 18.041)],
)
def test_sun_agrees_with_three_almanac_libraries(site: Site, hour: int, altitude_deg: float) -> None:
    """2026-11-25, airless: astropy 8.0, skyfield 1.55 and ephem 4.2 within 0.0007 deg of each other,
    computed beforehand. Tolerance 0.0015 deg: theirs and the last digit.
    """
    assert sun_altitude_deg(utc_date(2026, 11, 25, hour), site)[0] == pytest.approx(altitude_deg, abs=0.0015)
