"""Which places of a sensor tell of all of it."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.outlook import Optics
from polarcheck.outlook.sensor_stars import LOWEST, is_narrow, low_reach, sensor_border
from tests.helpers import DEG


def square(half_diagonal_deg: float) -> Optics:
    """Optics whose corner lies so far from the centre: tan of it, over sqrt 2, is half a side."""
    side = 2 * np.tan(half_diagonal_deg * DEG) / np.sqrt(2) / DEG * 3600
    return Optics(side / 1000, 1000, 1000)


@pytest.mark.parametrize(("half_diagonal_deg", "narrow"), [(4.5, True), (5.5, False)])
def test_nine_places_do_for_a_field_of_ten_degrees_and_seventeen_for_a_wider_one(
    half_diagonal_deg: float, narrow: bool
) -> None:
    """The gnomonic scale grows as 1 / cos^2: by 0.8 % at 5 deg from the centre (textbook)."""
    optics = square(half_diagonal_deg)
    assert is_narrow(optics) is narrow
    places = sensor_border(optics)
    assert len(places) == (9 if narrow else 17)
    lower = np.sort(places[np.isclose(places[:, 1], places[:, 1].min()), 0])
    assert np.diff(lower) == pytest.approx(np.full(len(lower) - 1, np.ptp(lower) / (len(lower) - 1)))


def test_a_wide_field_is_looked_at_from_above_the_highest_of_the_lines_of_low_altitude() -> None:
    """The lines go up to 9 deg above the lowest altitude that counts, 14 deg; air changes little above (eraRefco's
    tan z: 4.0 at 14 deg, 3.5 at 16).
    """
    assert low_reach(square(4.5)) == LOWEST == pytest.approx(5 * DEG)
    assert 14 < low_reach(square(5.5)) / DEG < 20
