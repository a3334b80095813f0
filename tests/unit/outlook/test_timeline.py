"""Sums over a night."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from polarcheck.errors import InputError
from polarcheck.outlook import Timeline
from polarcheck.outlook.timeline import night_of
from polarcheck.site import Site
from polarcheck.sky import sun_altitude_deg
from polarcheck.times import utc_from_iso
from tests.unit.outlook.test_outlook import OUTLOOK, PLACE, START


def test_moonless_time_counts_the_target_above_5_deg_while_the_moon_is_down() -> None:
    """Ten hours by the half hour: the Moon sets after 4 h, the target stands above 5 deg until 8 h."""
    hours = np.arange(0.0, 10.01, 0.5)
    anything: Any = SimpleNamespace()
    line = Timeline(
        night=anything,
        seconds=hours * 3600,
        altitude_deg=5.0 + 4 * (8.0 - hours),
        hour_angle_deg=hours,
        moon_altitude_deg=4.0 - hours,
        moon_lit=0.5,
        limit_s=hours,
        meridian_s=None,
        guided=False,
        tolerance_arcsec=1.0,
    )
    assert line.moonless_s / 3600 == pytest.approx(4.0, abs=0.5)


def altitude_of_sun(utc: tuple[float, float]) -> float:
    return float(sun_altitude_deg(np.array([utc]), MIDDLE)[0])


MIDDLE = Site(52.0, 11.2)


@pytest.mark.parametrize(
    ("when", "sun_deg"), [("2026-11-14T22:00:00", -18.0), ("2026-06-21T22:00:00", -12.0)]
)
def test_a_night_is_astronomical_and_nautical_where_the_sky_never_gets_darker(
    when: str, sun_deg: float
) -> None:
    """The Sun's centre 18 and 12 deg below the horizon (Explanatory Supplement to the Astronomical Almanac, from
    memory). Read between moments 5 min apart: 1.25 deg of hour angle bend by 0.003 deg.
    """
    night = night_of(utc_from_iso(when), MIDDLE)
    assert night.sun_deg == sun_deg
    assert altitude_of_sun(night.dusk) == pytest.approx(sun_deg, abs=0.005)
    assert altitude_of_sun(night.dawn) == pytest.approx(sun_deg, abs=0.005)


def test_the_night_that_holds_the_moment_is_taken_where_the_sun_hardly_misses_18_deg() -> None:
    """At midsummer the Sun sinks to latitude + 23.44 - 90 deg (textbook geometry): at 48.65 deg to -17.9."""
    utc, site = utc_from_iso("2026-06-20T23:15:00"), Site(48.65, 11.2)
    night = night_of(utc, site)
    assert night.sun_deg == -12.0
    assert -18.0 < float(sun_altitude_deg(np.array([utc]), site)[0]) < -17.85
    assert sum(night.dusk) < sum(utc) < sum(night.dawn)
    assert sum(night.dawn) - sum(night.dusk) < 0.25


def test_where_it_does_not_get_dark_there_is_no_night() -> None:
    with pytest.raises(InputError, match="no night"):
        night_of(utc_from_iso("2026-06-21T22:00:00"), Site(62.0, 11.2))


def test_a_night_is_told_every_quarter_of_an_hour() -> None:
    """So that an evening's list fits on a screen; in between lines are straight to 0.06 deg (test_setting)."""
    seconds = OUTLOOK.timeline(PLACE, START).seconds
    assert np.diff(seconds) == pytest.approx(np.full(len(seconds) - 1, 900.0), rel=0.02)
