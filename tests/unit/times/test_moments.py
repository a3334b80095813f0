"""Moments as people at a mount say them."""

from __future__ import annotations

import pytest

from polarcheck.errors import InputError
from polarcheck.times import iso_from_utc, utc_from_iso
from polarcheck.times.moments import clock_now, moment_from, shown_in_zone


def read(text: str, now: str, zone: str | None = None) -> str:
    return iso_from_utc(moment_from(text, zone, utc_from_iso(now)))[:19]


@pytest.mark.parametrize(
    ("text", "now", "found"),
    [
        ("now", "2026-11-14T19:00:07", "2026-11-14T19:00:07"),
        (" NOW ", "2026-11-14T19:00:07", "2026-11-14T19:00:07"),
        ("20:30", "2026-11-14T15:00:00", "2026-11-14T20:30:00"),  # this evening
        ("20:30", "2026-11-14T08:00:00", "2026-11-14T20:30:00"),
        ("20:30", "2026-11-14T23:00:00", "2026-11-14T20:30:00"),  # 2.5 h ago
        ("20:30", "2026-11-15T01:00:00", "2026-11-14T20:30:00"),  # of the same night, after midnight
        ("02:30", "2026-11-14T15:00:00", "2026-11-15T02:30:00"),  # after midnight to come
        ("2:30:15", "2026-11-14T23:59:59", "2026-11-15T02:30:15"),
        ("07:00", "2026-11-14T06:30:00", "2026-11-14T07:00:00"),  # an evening far west of Greenwich
        ("2026-11-14T20:30", "2020-01-01T00:00:00", "2026-11-14T20:30:00"),
        ("2026-11-14T20:30:00+01:00", "2020-01-01T00:00:00", "2026-11-14T19:30:00"),
    ],
)
def test_a_moment_is_read(text: str, now: str, found: str) -> None:
    assert read(text, now) == found


def test_a_time_of_day_counts_in_its_zone_and_a_date_in_utc() -> None:
    """Central European time is an hour ahead of UTC in winter and two in summer (IANA time zone database)."""
    assert read("20:30", "2026-11-14T15:00:00", "Europe/Vienna") == "2026-11-14T19:30:00"
    assert read("20:30", "2026-07-14T15:00:00", "Europe/Vienna") == "2026-07-14T18:30:00"
    assert read("20:30", "2026-11-14T23:30:00", "-08:00") == "2026-11-15T04:30:00"
    assert read("2026-11-14T20:30", "2026-11-14T15:00:00", "Europe/Vienna") == "2026-11-14T20:30:00"


def test_a_moment_is_shown_with_its_zone() -> None:
    moment = utc_from_iso("2026-11-14T19:30:00")
    assert shown_in_zone(moment) == "2026-11-14T19:30:00 UTC"
    assert shown_in_zone(moment, "UTC") == "2026-11-14T19:30:00 UTC"
    assert shown_in_zone(moment, "Europe/Vienna") == "2026-11-14T19:30:00 UTC, 20:30 in Europe/Vienna"
    assert shown_in_zone(moment, "-08:00") == "2026-11-14T19:30:00 UTC, 11:30 in -08:00"


@pytest.mark.parametrize(
    "text", ["", "soon", "24:30", "20:60", "20", "8 pm", "\x1b[2J", "2026-11-14", "2026-13-01T00:00"]
)
def test_what_is_no_moment_is_refused(text: str) -> None:
    with pytest.raises(InputError) as caught:
        moment_from(text, None, utc_from_iso("2026-11-14T19:00:00"))
    assert "\x1b" not in str(caught.value)


def test_now_is_of_this_century() -> None:
    assert iso_from_utc(clock_now())[:2] == "20"
