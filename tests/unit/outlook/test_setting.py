"""A target that rises or sets: when that is, and that it is said."""

from __future__ import annotations

import astropy.units as u
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time
from astropy.utils import iers

from polarcheck.outlook import Outlook, drift_notices
from polarcheck.vectors import Array
from tests.unit.outlook.test_outlook import OUTLOOK, START

SETS, RISES, STAYS = (300.0, 0.0), (83.8, -5.4), (37.95, 89.26)


def altitude_by_astropy(place: tuple[float, float], utc: Time) -> Array:
    """Observed altitude under the standard air, by astropy's AltAz. [deg]"""
    site, air = OUTLOOK.alignment.site, OUTLOOK.alignment.sky.air
    frame = AltAz(
        obstime=utc,
        location=EarthLocation(
            lat=site.latitude_deg * u.deg, lon=site.longitude_deg * u.deg, height=site.height_m * u.m
        ),
        pressure=air.pressure_hpa * u.hPa,
        temperature=air.temperature_c * u.deg_C,
        relative_humidity=air.relative_humidity,
        obswl=air.wavelength_um * u.um,
    )
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("iers_degraded_accuracy", "warn"):
        return np.asarray(SkyCoord(*place, unit="deg").transform_to(frame).alt.deg)


def at(utc: tuple[float, float], seconds: float) -> Time:
    return Time(*utc, format="jd", scale="utc") + seconds * u.s


@pytest.mark.parametrize("place", [SETS, RISES])
def test_target_crosses_5_deg_when_astropy_says(place: tuple[float, float]) -> None:
    """Rows are 15 min apart and read linearly: 0.06 deg."""
    line = OUTLOOK.timeline(place, START)
    ((begin, end),) = line.spans_up_s
    crossing = end if place == SETS else begin
    assert 0 < crossing < line.seconds[-1]
    assert altitude_by_astropy(place, at(line.night.dusk, crossing)) == pytest.approx(5.0, abs=0.06)


def test_target_near_the_pole_is_up_all_night() -> None:
    line = OUTLOOK.timeline(STAYS, START)
    assert line.spans_up_s == ((0.0, pytest.approx(float(line.seconds[-1]))),)


def test_drift_past_the_horizon_is_warned_of_with_the_moment() -> None:
    drift = Outlook(OUTLOOK.alignment, OUTLOOK.optics, 4.95).drift(SETS, START, 6 * 3600.0)
    (notice,) = drift_notices(drift)
    assert notice.code == "target-sets"
    minutes = float(notice.text.split(" min ")[0].split()[-1])
    assert altitude_by_astropy(SETS, at(START, 60 * minutes)) == pytest.approx(0.0, abs=0.3)
    assert drift_notices(OUTLOOK.drift(SETS, START, 600.0)) == ()
