"""When it is dark tonight, and how the air lifts Sun and Moon."""

from __future__ import annotations

import pytest

from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, refraction
from polarcheck.sky.sun_and_moon import darkness_begins, lifted
from polarcheck.times import seconds_between, utc_from_iso
from tests.helpers import DEG, altitude_of, enu


def test_tonight_begins_at_nautical_dusk_or_now() -> None:
    """At an equinox on the equator the Sun sinks by 15 deg an hour from 18 h local time: 12 deg at 18:48, less the
    equation of time, 7 min in March (common practice).
    """
    equator = Site(0.0, 0.0)
    noon, late = utc_from_iso("2026-03-20T12:00:00"), utc_from_iso("2026-03-20T23:00:00")
    dusk = seconds_between(noon, darkness_begins(noon, equator)) / 60
    assert dusk == pytest.approx(6 * 60 + 48 + 7.5, abs=2.0)
    assert darkness_begins(late, equator) == late
    white = darkness_begins(utc_from_iso("2026-06-21T12:00:00"), Site(65.0, 0.0))  # lowest at midnight
    assert abs(seconds_between(utc_from_iso("2026-06-22T00:02:00"), white)) < 300


def lift_arcmin(true_deg: float) -> float:
    """By how much the Moon stands higher, in the air of the Nautical Almanac's tables: 1010 hPa and 10 deg C."""
    seen = lifted(enu(120.0 * DEG, true_deg * DEG)[None], Atmosphere(1010.0, 10.0))
    return float(altitude_of(seen)[0] / DEG - true_deg) * 60


@pytest.mark.parametrize(("apparent_deg", "table_arcmin"), [(5.0, 9.9), (6.0, 8.5)])
def test_low_moon_is_lifted_as_the_tables_have_it(apparent_deg: float, table_arcmin: float) -> None:
    """The Nautical Almanac's altitude corrections for stars, to 0.1 arcmin (from memory)."""
    assert lift_arcmin(apparent_deg - table_arcmin / 60) == pytest.approx(table_arcmin, abs=0.1)


def test_high_moon_is_lifted_as_the_stars_beside_it() -> None:
    for true_deg in (12.0, 19.0, 60.0):
        star = refraction(true_deg * DEG, Atmosphere(1010.0, 10.0)) / DEG * 60
        assert lift_arcmin(true_deg) == pytest.approx(star, abs=1e-6)


def test_sun_is_lifted_while_any_of_it_can_be_seen() -> None:
    """Its upper edge sets when its centre stands 50 arcmin below the horizon (U.S. Naval Observatory, from memory)."""
    assert 30 < lift_arcmin(-50 / 60) < 50
    assert lift_arcmin(-1.2) == pytest.approx(0.0, abs=1e-9)
