"""Site, clock and sky: what is seen where, by astropy; and the mistake that would explain a contradiction."""

from __future__ import annotations

import re
from pathlib import Path

import astropy.units as u
import erfa
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_sun
from astropy.time import Time
from scipy.optimize import brentq

from polarcheck.errors import InputError
from polarcheck.frames import Frame
from polarcheck.measurement.plausibility import (
    likely_cause,
    require_dark,
    require_sky_above,
    sun_notice,
    too_low,
    zone_notice,
)
from polarcheck.measurement.pointings import Pointings
from polarcheck.site import Site
from polarcheck.sky import Epochs
from tests.helpers import DEG, Array, icrs, utc_date

# Heron Ridge, invented; at 20:00 UTC in November it is dark there and dark 50 deg west of it
RIDGE = Site(47.3, 50.0, 900.0)
NIGHT = utc_date(2026, 11, 14, 20, 0)


def fields(hours_from_meridian: list[float], declination_deg: float, site: Site, utc: Array = NIGHT) -> Array:
    """ICRS centres at hour angles at a site, by ERFA's sidereal time (precession left out: 0.4 deg)."""
    sidereal = erfa.gmst06(*utc[0], *utc[0]) + site.longitude_deg * DEG
    ra = sidereal - np.array(hours_from_meridian) * 15 * DEG
    return icrs(ra, np.full(len(ra), declination_deg * DEG))


def looks(sky: Array, utc: Array, site: Site) -> Pointings:
    return Pointings.of(sky, Epochs.of(utc), site)


def times(count: int, utc: Array = NIGHT) -> Array:
    return np.repeat(utc, count, axis=0)


def sun_altitude_by_astropy(utc: Array) -> float:
    """Altitude of the Sun at the ridge, without air. [deg]"""
    when = Time(*utc[0], format="jd", scale="utc")
    place = EarthLocation.from_geodetic(RIDGE.longitude_deg, RIDGE.latitude_deg, RIDGE.height_m)
    return float(get_sun(when).transform_to(AltAz(obstime=when, location=place)).alt.deg)


@pytest.mark.parametrize(
    ("altitude_deg", "why"), [(-1.0, "horizon"), (3.5, "refraction"), (7.0, None), (20.0, None)]
)
def test_frames_that_look_along_the_ground_do_not_count(altitude_deg: float, why: str | None) -> None:
    """ERFA's refraction was tested to 75 deg from the zenith (notes of eraRefco); at 5 deg of altitude the air of a
    night moves the stars by some tens of arcseconds (common practice, no source). Altitudes by astropy, no air.
    """
    there = AltAz(
        az=70 * u.deg,
        alt=altitude_deg * u.deg,
        obstime=Time(*NIGHT[0], format="jd", scale="utc"),
        location=EarthLocation.from_geodetic(RIDGE.longitude_deg, RIDGE.latitude_deg, RIDGE.height_m),
        pressure=0 * u.hPa,
    )
    sky = np.asarray(SkyCoord(there).icrs.cartesian.xyz.value)[None]
    (said,) = too_low(looks(sky, times(1), RIDGE))
    assert (said is None) if why is None else said is not None and why in said


def test_a_few_frames_below_the_horizon_are_no_reason_to_refuse() -> None:
    sky = np.concatenate([fields([-2, 0, 2], 40.0, RIDGE), fields([12], -40.0, RIDGE)])
    few = looks(sky, times(4), RIDGE)
    assert list(few.above_horizon) == [True, True, True, False]
    require_sky_above(few)


@pytest.mark.parametrize(
    ("true", "wrong", "declination_deg", "hours", "cause"),
    [
        (RIDGE, Site(47.3, -50.0), 0.0, [-5.0, -4.8, -4.6], "longitude's sign"),
        (RIDGE, Site(-47.3, 50.0), 60.0, [-1.0, 0.0, 1.0], "latitude's sign"),
        (Site(40.0, 75.0), Site(75.0, 40.0), -40.0, [-0.5, 0.5], "swapped"),
    ],
    ids=["longitude", "latitude", "swapped"],
)
def test_a_site_that_buries_the_frames_is_refused_with_the_likely_cause(
    true: Site, wrong: Site, declination_deg: float, hours: list[float], cause: str
) -> None:
    sky = fields(hours, declination_deg, true)
    assert looks(sky, times(len(hours)), true).above_horizon.all()
    with pytest.raises(InputError, match="below the horizon") as refusal:
        require_sky_above(looks(sky, times(len(hours)), wrong))
    assert cause in str(refusal.value)


def test_a_clock_off_by_hours_is_named_with_hours_that_would_do() -> None:
    # eleven hours ahead of UTC those stars are down; with the hours named they are up and, by astropy, it is dark
    sky = fields([3.0, 4.0, 5.0], 0.0, RIDGE)
    ahead = NIGHT + [0.0, 11 / 24]
    with pytest.raises(InputError, match="clock") as refusal:
        require_sky_above(looks(sky, times(3, ahead), RIDGE))
    assert refusal.value.parameters == ("site", "clock_ahead_s")
    named = re.search(r"\((\d+)h (ahead of|behind) UTC", str(refusal.value))
    assert named is not None
    hours = int(named[1]) if named[2] == "ahead of" else -int(named[1])
    mended = ahead - [0.0, hours / 24]
    assert looks(sky, times(3, mended), RIDGE).above_horizon.all()
    assert sun_altitude_by_astropy(mended) < 0


def test_what_no_common_mistake_explains_gets_no_guess() -> None:
    # far southern and far northern stars at once are above no horizon of a middle latitude
    sky = np.concatenate([fields([0, 1], -80.0, RIDGE), fields([0, 1], 80.0, RIDGE)])
    assert likely_cause(looks(sky, times(4), RIDGE)) is None


@pytest.mark.parametrize(("hour", "warned"), [(20, False), (9, True)])
def test_a_sun_in_the_sky_is_said(hour: int, warned: bool) -> None:
    # 50 deg east: local noon is at 8:24 UTC, midnight at 20:24
    notice = sun_notice(Epochs.of(times(3, utc_date(2026, 11, 14, hour, 0))), RIDGE)
    assert (notice is not None) == warned


def test_the_altitude_of_the_sun_in_the_notice_is_astropys() -> None:
    # at 9:00 UTC, a whole degree
    utc = utc_date(2026, 11, 14, 9, 0)
    notice = sun_notice(Epochs.of(times(1, utc)), RIDGE)
    assert notice is not None
    assert f"{sun_altitude_by_astropy(utc):+.0f} deg" in notice.text


@pytest.mark.parametrize(("altitude_deg", "warned"), [(-1.4, True), (-3.0, False)])
def test_sun_counts_as_up_until_the_first_stars_come_out(altitude_deg: float, warned: bool) -> None:
    """The brightest stars are seen by eye with the Sun 2 to 4 deg down, and by cameras a little before (common
    practice, no source). The moment is found by astropy's Sun.
    """
    assert (sun_notice(Epochs.of(times(2, sinking_to(altitude_deg))), RIDGE) is not None) == warned


@pytest.mark.parametrize(("altitude_deg", "refused"), [(2.0, False), (4.5, True)])
def test_sun_in_the_sky_is_refused_where_no_slip_explains_it(altitude_deg: float, refused: bool) -> None:
    """A site a degree off and a clock eight minutes off make 3 deg together."""
    dusk = times(2, sinking_to(altitude_deg))
    sky = fields([-1.0, 1.0], 40.0, RIDGE, dusk[:1])
    if refused:
        with pytest.raises(InputError, match="the Sun stood"):
            require_dark(looks(sky, dusk, RIDGE))
    else:
        require_dark(looks(sky, dusk, RIDGE))


def sinking_to(altitude_deg: float) -> Array:
    """When the Sun sinks to an altitude at the ridge, by astropy."""
    noon = utc_date(2026, 11, 14, 9, 0)

    def height_above(hours: float) -> float:
        return sun_altitude_by_astropy(noon + [0.0, hours / 24]) - altitude_deg

    return noon + [0.0, brentq(height_above, 0.0, 9.0) / 24]


def frame_at(hour: float, trusts_zone: bool = True) -> Frame:
    """A frame taken at the ridge at an hour of UTC."""
    utc = utc_date(2026, 11, 14, int(hour), round(hour % 1 * 60))[0]
    sky = np.tile([1.0, 0.0, 0.0], (16, 1))
    path = Path("a.jpg")
    return Frame(
        path,
        "a.jpg",
        "",
        60,
        40,
        sky,
        (utc[0], utc[1]),
        4.0,
        5.0,
        False,
        None,
        None,
        (),
        trusts_zone=trusts_zone,
    )


@pytest.mark.parametrize(
    ("hour", "said"),
    [
        (20.0, "an hour off either way would not show"),
        (13.6, "were it an hour earlier, the Sun would be up; an hour the other way would not show"),
        (2.9, "were it an hour later, the Sun would be up; an hour the other way would not show"),
    ],
)
def test_whether_the_sun_would_show_a_wrong_zone(hour: float, said: str) -> None:
    # the Sun is 2 deg below the horizon at 13:13 and at 03:35 UTC, which the test below has from astropy
    found = zone_notice([frame_at(hour)], RIDGE)
    assert found is not None
    assert found.code == "zone-stated"
    assert said in found.text


def test_zone_that_files_state_or_confirm_needs_no_word() -> None:
    assert zone_notice([frame_at(20.0, trusts_zone=False)], RIDGE) is None


def test_times_of_sunset_above_are_astropys() -> None:
    for hour, minute in ((13, 13), (3, 35)):
        assert sun_altitude_by_astropy(utc_date(2026, 11, 14, hour, minute)) == pytest.approx(-2.0, abs=0.3)
