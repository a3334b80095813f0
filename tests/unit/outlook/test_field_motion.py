"""Many fields at once: which stars count, and how many are worked on together."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from polarcheck.outlook import field_motion
from polarcheck.outlook.fast_sky import FastSky
from polarcheck.outlook.field_motion import Fields, Tracking, field_limits
from polarcheck.vectors import Array
from tests.helpers import DEG, enu
from tests.unit.outlook.test_outlook import AXIS, OUTLOOK, SKY


@pytest.mark.parametrize(("altitude_deg", "counts"), [(4.5, False), (5.5, True)])
def test_a_star_below_five_degrees_does_not_count(altitude_deg: float, counts: bool) -> None:
    """There its refraction is not known to what it moves: a degree of temperature is 2 arcsec (erfa's refco: 590 arcsec
    at 5 deg, and 1 in 280 for a kelvin).
    """
    fast = FastSky(SKY)
    hour, declination = fast.place(fast.unlifted(enu(250 * DEG, altitude_deg * DEG)[None]))
    fields = Fields.of(fast, OUTLOOK.optics, hour, declination, low=False)
    assert bool(fields.counts[0, 0]) is counts


def test_fields_are_worked_on_in_parts_that_a_small_board_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Forty thousand stars, at twenty a field: two thousand fields."""
    parts: list[int] = []

    def fields(_fast: object, _optics: object, hours: Array, *_: object) -> int:
        parts.append(len(hours))
        return len(hours)

    def limits(count: int, *_: object) -> tuple[Array, Array]:
        return np.zeros(count), np.zeros(count)

    monkeypatch.setattr(field_motion.Fields, "of", fields)
    monkeypatch.setattr(field_motion, "first_limits", limits)
    tracking: Any = Tracking(AXIS, guided=True)
    high = (np.zeros(5000), np.full(5000, 40 * DEG))
    field_limits(high, FastSky(SKY), OUTLOOK.optics, tracking, 1.0)
    assert parts == [2000, 2000, 1000]
