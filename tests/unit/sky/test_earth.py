"""The Earth rotation table: shapes and order; its numbers are checked in tests/reference."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.sky.earth import earth_orientation

JD_MJD = 2400000.5


def test_one_value_for_each_moment_in_the_order_asked() -> None:
    days = np.array([60000.3, 51544.0, 60000.3, 57000.9])
    together = earth_orientation(np.stack([np.full(4, JD_MJD), days], axis=-1))
    alone = [earth_orientation(np.array([[JD_MJD, day]])) for day in days]
    assert together.ut1_minus_utc_s == pytest.approx([one.ut1_minus_utc_s[0] for one in alone], abs=1e-12)
    assert together.pole_x == pytest.approx([one.pole_x[0] for one in alone], abs=1e-18)
    assert together.pole_y == pytest.approx([one.pole_y[0] for one in alone], abs=1e-18)


def test_any_split_of_the_date_gives_the_same_values() -> None:
    """A two-part date may be cut anywhere: 2400000.5 + MJD, or noon plus a fraction, or the J2000 way."""
    splits = np.array([[JD_MJD, 60000.75], [2460000.5, 0.75], [2451545.0, 8456.25], [2460001.25, 0.0]])
    values = earth_orientation(splits).ut1_minus_utc_s
    assert np.ptp(values) < 1e-9


def test_values_between_days_lie_between_the_days() -> None:
    """Halfway between two days the mean of the two (linear interpolation; no leap second there)."""
    values = earth_orientation(np.array([[JD_MJD, day] for day in (60000.0, 60000.5, 60001.0)]))
    for column in (values.ut1_minus_utc_s, values.pole_x, values.pole_y):
        assert column[1] == pytest.approx((column[0] + column[2]) / 2, rel=1e-9)
        assert column[0] != column[2]


def test_notice_says_what_it_costs_and_what_to_do() -> None:
    (notice,) = earth_orientation(np.array([[JD_MJD, 70000.0]])).notices
    assert "arcsec" in notice.text
    assert "astropy-iers-data" in notice.text


@pytest.mark.parametrize("mjd", [41684.0, 41684.5, 60000.0])
def test_no_notice_within_the_table(mjd: float) -> None:
    """The table begins on 1973-01-02, MJD 41684 (finals2000A)."""
    assert earth_orientation(np.array([[JD_MJD, mjd]])).notices == ()
