"""A star's way, sampled and read between the samples, against ERFA asked at each moment."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.site import Site
from polarcheck.sky.observed import Sky
from polarcheck.sky.track import star_track
from polarcheck.times import add_seconds
from tests.helpers import DEG, enu, separation_arcsec, utc_date

SKY = Sky.over(Site(47.3, 11.2, 900.0))
UTC = (float(utc_date(2026, 11, 14, 21)[0, 0]), float(utc_date(2026, 11, 14, 21)[0, 1]))


@pytest.mark.parametrize("azimuth_deg", [60.0, 90.0, 120.0])
def test_rising_star_is_read_to_some_hundredths_of_an_arcsecond(azimuth_deg: float) -> None:
    """At 5 deg the air changes fastest; a twentieth of an arcsecond is what drift is checked to."""
    star = SKY.icrs(enu(azimuth_deg * DEG, 5.5 * DEG)[None, None], np.array([UTC]))[0]
    seconds = np.arange(0.0, 600.0, 7.0)
    dates = np.array([add_seconds(UTC, float(s)) for s in seconds])
    true = SKY.observed(np.broadcast_to(star, (len(dates), 1, 3)), dates)
    assert separation_arcsec(star_track(star, UTC, 600.0, SKY).at(seconds), true).max() < 0.05


def test_a_night_asks_for_a_thousand_samples_at_most() -> None:
    """Each asks ERFA for a whole sky; twelve hours of one a minute are 720."""
    star = SKY.icrs(enu(0.0, 60.0 * DEG)[None, None], np.array([UTC]))[0]
    assert len(star_track(star, UTC, 12 * 3600.0, SKY).seconds) < 1000
