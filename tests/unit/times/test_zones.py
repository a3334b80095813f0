"""Time zones against the IANA database's own rules (zoneinfo, PEP 615) and UTC offsets as ISO 8601 writes them."""

from __future__ import annotations

import pytest

from polarcheck.errors import ParameterError
from polarcheck.times import check_zone, utc_from_iso, zone_ahead_s


@pytest.mark.parametrize(
    ("zone", "hours"),
    [
        ("+01:00", 1),
        ("-05:00", -5),
        ("+0530", 5.5),
        ("-3", -3),
        ("UTC", 0),
        ("utc+2", 2),
        ("Z", 0),
        ("−02:00", -2),
        ("+14:00", 14),  # Pacific/Kiritimati
    ],
)
def test_fixed_offset_is_ahead_by_its_hours(zone: str, hours: float) -> None:
    assert zone_ahead_s(zone, utc_from_iso("2026-11-14T22:10:00")) == hours * 3600


@pytest.mark.parametrize(
    ("zone", "shown", "hours"),
    [
        # European Union: summer time from the last Sunday of March to that of October, at 01:00 UTC (directive 2000/84/EC)
        ("Europe/Vienna", "2026-11-14T22:10:00", 1),
        ("Europe/Vienna", "2026-07-14T22:10:00", 2),
        ("Europe/Vienna", "2026-10-25T01:59:59", 2),
        ("Europe/Vienna", "2026-10-25T03:00:00", 1),
        ("Asia/Kathmandu", "2026-11-14T22:10:00", 5.75),
        ("Africa/Johannesburg", "2026-07-14T22:10:00", 2),
    ],
)
def test_named_zone_follows_its_summer_time(zone: str, shown: str, hours: float) -> None:
    assert zone_ahead_s(zone, utc_from_iso(shown)) == hours * 3600


@pytest.mark.parametrize(
    ("shown", "often"), [("2026-10-25T02:30:00", "twice"), ("2026-03-29T02:30:00", "never")]
)
def test_hour_that_comes_twice_or_never_is_not_guessed(shown: str, often: str) -> None:
    with pytest.raises(ParameterError, match=often) as caught:
        zone_ahead_s("Europe/Vienna", utc_from_iso(shown))
    assert caught.value.parameters == ("zone",)


@pytest.mark.parametrize(
    "zone",
    [
        "",
        "Foo",
        "Europe",
        "+25:00",
        "+15:00",
        "+01:99",
        "1",
        "../../etc/passwd",
        "Etc/../UTC",
        "\x1b[31m",
        "A" * 5000,
    ],
)
def test_what_is_no_zone_is_refused_in_one_printable_line(zone: str) -> None:
    with pytest.raises(ParameterError) as caught:
        check_zone(zone)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 250
