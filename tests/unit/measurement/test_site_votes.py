"""East or west: sidereal time by ERFA, altitudes by astropy, each a little off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import astropy.units as u
import erfa
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_sun
from astropy.time import Time
from scipy.optimize import brentq

from polarcheck.frames import Frame, TelescopeCards
from polarcheck.measurement.site_votes import site_by_votes
from polarcheck.site import Site
from tests.benchmarks.mounts import Scene, Sweep, frames_of
from tests.helpers import DEG

LONGITUDE = -20.0  # where the camera stands; the header says 20
HEADER = Site(47.3, 20.0)


def frame() -> Frame:
    return frames_of(Scene([Sweep((10.0,))], stars=0), np.random.default_rng(1)).frames[0]


def sidereal_time(taken: Frame, longitude: float, off_deg: float = 0.0) -> TelescopeCards:
    """What a header says of local sidereal time, wrong by some."""
    mean = erfa.gmst06(*taken.utc, *taken.utc) / DEG
    return TelescopeCards((mean + longitude + off_deg) % 360, None, None, None)


def longitude_by(frames: Sequence[Frame], header: Site = HEADER) -> float:
    return site_by_votes(frames, header)[0].longitude_deg


@pytest.mark.parametrize(("off_deg", "longitude"), [(1.8, LONGITUDE), (3.5, 20.0)])
def test_sidereal_time_may_be_ten_minutes_off(off_deg: float, longitude: float) -> None:
    """A clock that is set by hand, or the site of the next town: 2.5 deg of sidereal time."""
    taken = frame()
    said = replace(taken, telescope=sidereal_time(taken, LONGITUDE, off_deg))
    assert longitude_by([said]) == longitude


@pytest.mark.parametrize(("off_deg", "longitude"), [(3.5, LONGITUDE), (7.0, 20.0)])
def test_altitude_may_be_wrong_by_axis_and_pointing(off_deg: float, longitude: float) -> None:
    """Before alignment a mount points some degrees beside (common practice, no source): 5 deg are let pass."""
    taken = frame()
    when = Time(*taken.utc, format="jd", scale="utc")
    place = EarthLocation.from_geodetic(LONGITUDE, HEADER.latitude_deg)
    star = SkyCoord(taken.centre[None] * u.one, representation_type="cartesian")
    seen = star.transform_to(AltAz(obstime=when, location=place))
    said = TelescopeCards(None, None, float(seen.alt.deg[0]) + off_deg, float(seen.az.deg[0]))
    assert longitude_by([replace(taken, telescope=said)]) == longitude


@pytest.mark.parametrize(("sun_deg", "longitude"), [(-3.0, -60.0), (-1.4, 60.0)])
def test_sun_speaks_against_a_site_where_no_star_is_seen_yet(sun_deg: float, longitude: float) -> None:
    """Sidereal time is for 60 deg west, where dusk has come or not; at 60 deg east it is night. The Sun by astropy."""
    taken, place = frame(), EarthLocation.from_geodetic(-60.0, 47.3)

    def above(hours: float) -> float:
        when = Time(taken.utc[0], taken.utc[1] + hours / 24, format="jd", scale="utc")
        return float(get_sun(when).transform_to(AltAz(obstime=when, location=place)).alt.deg) - sun_deg

    at = replace(taken, utc=(taken.utc[0], taken.utc[1] + brentq(above, -2.0, 4.0) / 24))
    said = replace(at, telescope=sidereal_time(at, -60.0))
    assert longitude_by([said], Site(47.3, 60.0)) == longitude


def test_some_ten_frames_are_asked() -> None:
    """Every second of twenty: here those that tell the truth. More tell no more, and each costs a millisecond."""
    taken = frame()
    said = [replace(taken, telescope=sidereal_time(taken, 20.0 if i % 2 else LONGITUDE)) for i in range(20)]
    assert longitude_by(said) == LONGITUDE
