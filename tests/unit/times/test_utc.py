"""Dates, time scales and durations as text."""

from __future__ import annotations

import re

import numpy as np
import pytest
from astropy.time import Time
from hypothesis import given
from hypothesis import strategies as st

from polarcheck.errors import InputError
from polarcheck.times import add_seconds, iso_from_utc, seconds_between, to_utc, utc_from_iso

MILLISECOND_IN_DAYS = 0.001 / 86400


@pytest.mark.filterwarnings("ignore:ERFA function")  # astropy calls far years dubious
@pytest.mark.parametrize(
    "text", ["2026-11-14T20:13:45.120", "1962-03-01T00:00:01", "2099-12-31T23:59:59.990"]
)
def test_date_agrees_with_astropy(text: str) -> None:
    expected = Time(text, scale="utc")
    jd1, jd2 = utc_from_iso(text)
    assert (jd1 - expected.jd1) + (jd2 - expected.jd2) == pytest.approx(0, abs=1e-13)


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-11-14T20:13:45.12Z", "2026-11-14T20:13:45.12Z"),
        ("2026-11-14T21:13:45.12+01:00", "2026-11-14T20:13:45.12Z"),
        ("2026-11-14T18:43:45-0130", "2026-11-14T20:13:45.00Z"),
        ("2026-11-14 20:13", "2026-11-14T20:13:00.00Z"),
        ("2026-11-14T20:59:59.996", "2026-11-14T21:00:00.00Z"),
        ("2026-12-31T23:59:59.999", "2027-01-01T00:00:00.00Z"),
        ("2016-12-31T23:59:60.5", "2016-12-31T23:59:60.50Z"),
    ],
)
def test_date_is_read_and_written_back_in_utc(text: str, utc: str) -> None:
    assert iso_from_utc(utc_from_iso(text)) == utc


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("2026-11-14", "without time of day"),
        ("2026-02-30T00:00:00", "no valid day"),
        ("2026-13-01T00:00:00", "no valid month"),
        ("2026-11-14T25:00:00", "no valid hour"),
        ("2026-11-14T20:61:00", "no valid minute"),
        ("2026-12-31T23:59:60", "no valid time of day"),
        ("2026-11-14T20:13:45+99:00", "no time zone"),
        ("tomorrow", "no date and time"),
        ("\x1b[31m", r"\\x1b"),
        ("", "no date and time"),
    ],
)
def test_impossible_date_is_refused_with_its_reason(text: str, why: str) -> None:
    with pytest.raises(InputError, match=why) as caught:
        utc_from_iso(text)
    assert "\x1b" not in str(caught.value)


@pytest.mark.parametrize(
    ("scale", "astropy_scale"),
    [("UTC", "utc"), ("TT", "tt"), ("TDB", "tdb"), ("TAI", "tai"), ("TT(TAI)", "tt")],
)
def test_time_scale_is_converted_as_astropy_does(scale: str, astropy_scale: str) -> None:
    given_time = Time("2026-11-14T20:13:45.120", scale=astropy_scale)
    jd1, jd2 = to_utc((given_time.jd1, given_time.jd2), scale)
    error = (jd1 - given_time.utc.jd1) + (jd2 - given_time.utc.jd2)
    assert abs(error) < MILLISECOND_IN_DAYS * 1e-3


def test_gps_time_is_ahead_of_utc_by_18_seconds_since_2017() -> None:
    """IS-GPS-200, leap seconds of IERS Bulletin C (from memory): GPS - UTC = 18 s since 2017-01-01."""
    gps = utc_from_iso("2026-11-14T20:13:45")
    assert iso_from_utc(to_utc(gps, "GPS")) == "2026-11-14T20:13:27.00Z"


def test_ephemeris_time_counts_as_terrestrial_time() -> None:
    jd = utc_from_iso("2026-11-14T20:13:45")
    assert to_utc(jd, "ET") == to_utc(jd, "tt")
    assert to_utc(jd, "UT1") == jd


@pytest.mark.parametrize("scale", ["LOCAL", "TCB", "", "\x1b[1m"])
def test_unknown_time_scale_is_refused(scale: str) -> None:
    with pytest.raises(InputError, match="time scale") as caught:
        to_utc((2461359.0, 0.3), scale)
    assert "\x1b" not in str(caught.value)


def test_seconds_count_through_a_leap_second() -> None:
    """The leap second at the end of 2016 (IERS Bulletin C 52, from memory)."""
    before, after = utc_from_iso("2016-12-31T23:59:59"), utc_from_iso("2017-01-01T00:00:00")
    assert seconds_between(before, after) == pytest.approx(2, abs=1e-6)
    assert iso_from_utc(add_seconds(before, 1.5)) == "2016-12-31T23:59:60.50Z"


@given(st.floats(-1e6, 1e6))
def test_added_seconds_come_back_as_the_difference(seconds: float) -> None:
    utc = utc_from_iso("2026-11-14T20:13:45")
    assert seconds_between(utc, add_seconds(utc, seconds)) == pytest.approx(seconds, abs=2e-6)


@given(st.floats(0, 86399.99))
def test_written_time_never_shows_second_60_and_is_right_to_half_a_unit(second: float) -> None:
    utc = add_seconds(utc_from_iso("2026-11-14T00:00:00"), second)
    text = iso_from_utc(utc)
    assert re.fullmatch(r"2026-11-1[45]T\d\d:[0-5]\d:[0-5]\d\.\d\dZ", text)
    assert abs(seconds_between(utc, utc_from_iso(text))) <= 0.005 + 1e-5


def test_date_keeps_microseconds_in_two_parts() -> None:
    a, b = utc_from_iso("2026-11-14T20:13:45.000001"), utc_from_iso("2026-11-14T20:13:45.000002")
    assert np.subtract(b, a).sum() * 86400 == pytest.approx(1e-6, rel=0.05)
