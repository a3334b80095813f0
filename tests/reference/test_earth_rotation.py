"""The reader of the Earth rotation table against astropy's reader, and its behaviour at the seams."""

from __future__ import annotations

from typing import Any

import astropy_iers_data
import erfa
import numpy as np
import pytest
from astropy.utils import iers

from polarcheck.sky.earth import earth_orientation
from tests.helpers import ARCSEC, Array, utc_date


@pytest.fixture(scope="module")
def table() -> Any:
    """finals2000A as bundled in astropy-iers-data, read by astropy; offline."""
    return iers.IERS_A.open(astropy_iers_data.IERS_A_FILE)


def as_utc(mjd: Array) -> Array:
    return np.stack([np.full_like(mjd, 2400000.5), mjd], axis=-1)


def known_days(table: Any) -> Any:
    """Rows that have UT1-UTC; the last ones of the file are empty."""
    return table[~np.isnan(np.ma.filled(table["UT1_UTC_A"].value, np.nan))]


def test_daily_values_are_those_of_bulletin_a(table: Any) -> None:
    """IERS finals2000A columns of Bulletin A, every 50th day since 1973. Same digits, so 1e-9."""
    days = known_days(table)[::50]
    ours = earth_orientation(as_utc(days["MJD"].value))
    assert len(days) > 350
    assert ours.ut1_minus_utc_s == pytest.approx(days["UT1_UTC_A"].value, abs=1e-9)
    assert ours.pole_x / ARCSEC == pytest.approx(days["PM_x_A"].value, abs=1e-9)
    assert ours.pole_y / ARCSEC == pytest.approx(days["PM_y_A"].value, abs=1e-9)
    assert ours.notices == ()


def test_values_between_days_agree_with_astropy(table: Any) -> None:
    """Astropy's own interpolation, 2000 to the table's end, at odd hours, days with leap seconds among them.

    Tolerance 0.5 ms (0.0075" of Earth rotation) and 1 mas: astropy takes the final Bulletin B where there
    is one, which differs from Bulletin A by 0.4 ms and 0.6 mas at most; 0.9 s would show an error at a
    leap second.
    """
    last = known_days(table)["MJD"].value[-1]
    mjd = np.arange(51544.0, last - 1, 1.37)
    mjd = np.sort(np.append(mjd, [53735.97, 54831.97, 56108.97, 57203.97, 57753.97]))
    ours = earth_orientation(as_utc(mjd))
    theirs = table.ut1_utc(2400000.5, mjd)
    x, y = table.pm_xy(2400000.5, mjd)
    assert ours.ut1_minus_utc_s == pytest.approx(theirs.to_value("s"), abs=5e-4)
    assert ours.pole_x == pytest.approx(x.to_value("rad"), abs=1e-3 * ARCSEC)
    assert ours.pole_y == pytest.approx(y.to_value("rad"), abs=1e-3 * ARCSEC)


def test_earth_turns_smoothly_over_a_leap_second() -> None:
    """UT1-TAI knows no leap seconds; UTC got one at the end of 2016-12-31 (IERS Bulletin C 52, from memory).

    Every half hour for two days about it. Tolerance 0.05 ms a step: the day was 1.2 ms too long (0.025 ms
    in half an hour), while a leap second in the wrong place would show as 20 ms or 1 s.
    """
    dates = [(2016, 12, 31), (2017, 1, 1)]
    utc = np.concatenate([utc_date(*d, h, m) for d in dates for h in range(24) for m in (0, 30)])
    leap_s = np.array([float(erfa.dat(*d, 0.0)) for d in dates for _ in range(48)])
    assert leap_s[0] == 36
    assert leap_s[-1] == 37
    ut1_minus_tai = earth_orientation(utc).ut1_minus_utc_s - leap_s
    assert np.abs(np.diff(ut1_minus_tai)).max() < 5e-5
    assert ut1_minus_tai[-1] - ut1_minus_tai[0] == pytest.approx(-0.0024, abs=0.0006)


def test_moments_on_both_sides_of_leap_seconds_can_be_asked_together(table: Any) -> None:
    """1998 to 2017 in one call spans five leap seconds; the Bulletin A values stand (same digits, 1e-9)."""
    mjd = np.array([57754.0, 51178.0, 57753.0, 51179.0])
    listed = [table["UT1_UTC_A"].value[table["MJD"].value == day][0] for day in mjd]
    assert earth_orientation(as_utc(mjd)).ut1_minus_utc_s == pytest.approx(listed, abs=1e-9)


def test_a_date_beyond_the_table_takes_its_last_value_and_says_so(table: Any) -> None:
    """The last row of finals2000A that has UT1-UTC (Bulletin A forecast). Same digits, 1e-9."""
    last = known_days(table)[-1]
    ours = earth_orientation(as_utc(np.array([last["MJD"].value + 400.0])))
    assert ours.ut1_minus_utc_s == pytest.approx([last["UT1_UTC_A"].value], abs=1e-9)
    assert ours.pole_x / ARCSEC == pytest.approx([last["PM_x_A"].value], abs=1e-9)
    assert [notice.code for notice in ours.notices] == ["earth-rotation-unknown"]


def test_a_date_before_the_table_takes_its_first_value_and_says_so() -> None:
    """First line of finals2000A: 1973-01-02, UT1-UTC 0.8084178 s, x 0.120733" (read in the file)."""
    ours = earth_orientation(utc_date(1970, 1, 1))
    assert ours.ut1_minus_utc_s == pytest.approx([0.8084178], abs=1e-7)
    assert ours.pole_x / ARCSEC == pytest.approx([0.120733], abs=1e-6)
    assert len(ours.notices) == 1


def test_one_date_outside_is_enough_for_the_notice() -> None:
    """Good dates keep their values beside a bad one: 2017-01-01 0h, 0.591 s (IERS, from memory; tolerance
    1 ms), beside a day in 2045.
    """
    ours = earth_orientation(as_utc(np.array([57754.0, 68000.0])))
    assert ours.ut1_minus_utc_s[0] == pytest.approx(0.591, abs=0.001)
    assert len(ours.notices) == 1
