"""Sums over a night."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from polarcheck.outlook import Timeline


def test_moonless_time_counts_the_target_above_5_deg_while_the_moon_is_down() -> None:
    """Ten hours by the half hour: the Moon sets after 4 h, the target stands above 5 deg until 8 h."""
    hours = np.arange(0.0, 10.01, 0.5)
    anything: Any = SimpleNamespace()
    line = Timeline(
        night=anything,
        seconds=hours * 3600,
        altitude_deg=5.0 + 4 * (8.0 - hours),
        hour_angle_deg=hours,
        moon_altitude_deg=4.0 - hours,
        moon_lit=0.5,
        limit_s=hours,
        meridian_s=None,
        guided=False,
        tolerance_arcsec=1.0,
    )
    assert line.moonless_s / 3600 == pytest.approx(4.0, abs=0.5)
