"""When it is dark tonight."""

from __future__ import annotations

import pytest

from polarcheck.site import Site
from polarcheck.sky.sun_and_moon import darkness_begins
from polarcheck.times import seconds_between, utc_from_iso


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
