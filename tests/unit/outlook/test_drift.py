"""The rates at which a mount turns, and how a target far from there drifts."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.outlook.drift import moments_over, steady_rate

DAY_S = 86400.0


@pytest.mark.parametrize(
    ("rate", "turn_s"),
    [
        # mean sidereal day 23 h 56 min 4.0905 s, mean lunar day 24 h 50 min 28 s: Explanatory Supplement to the
        # Astronomical Almanac, both from memory
        ("sidereal", 86164.0905),
        ("king", 86164.0905),
        ("solar", DAY_S),
        ("lunar", DAY_S + 50 * 60 + 28),
    ],
)
def test_a_mount_turns_once_in_the_day_of_its_rate(rate: str, turn_s: float) -> None:
    assert 2 * np.pi / steady_rate(rate) == pytest.approx(turn_s, abs=2.0)  # type: ignore[arg-type]


def test_a_drift_is_told_at_some_tens_of_moments() -> None:
    """A line of them is smooth, and a list of them can be read."""
    for duration_s, count in ((60.0, 3), (600.0, 21), (6 * 3600.0, 121)):
        moments = moments_over(duration_s)
        assert (moments[0], moments[-1], len(moments)) == (0.0, duration_s, count)
