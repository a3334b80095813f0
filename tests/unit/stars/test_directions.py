"""Whether stars have a direction in common: against the Rayleigh test by simulation."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.stars.directions import common_direction
from polarcheck.vectors import Array


def long_stars(angles_deg: Array) -> Array:
    """Ellipticities of stars that are long alike, each in its direction."""
    turned = np.radians(2 * np.asarray(angles_deg))
    return 0.3 * np.stack([np.cos(turned), np.sin(turned)], axis=-1)


@pytest.mark.parametrize("count", [20, 60, 200])
def test_chance_makes_a_common_direction_in_two_of_a_thousand(count: int) -> None:
    """Directions at random, 30,000 times: between 1.3 and 2.7 of a thousand; half or twice the rate would be noticed."""
    rng = np.random.default_rng(count)
    tried = 30_000
    angles = rng.uniform(0, np.pi, (tried, count)) * 2
    agreement = np.hypot(np.cos(angles).mean(axis=1), np.sin(angles).mean(axis=1))
    # the weakest agreement of those that count as common, found by the function itself
    weakest = min(a for a in np.linspace(0.05, 0.999, 400) if common_direction(_agreeing(a, count))[2])
    share = float((agreement >= weakest).mean())
    assert 0.0013 < share < 0.0027


def _agreeing(agreement: float, count: int) -> Array:
    """Directions whose mean has a given length: half of them turned each way; one between where they are odd."""
    half = np.degrees(np.arccos(agreement)) / 2
    return long_stars(np.where(np.arange(count) % 2 == 0, half, -half))


@pytest.mark.parametrize(("count", "is_known"), [(3, False), (4, False), (5, True), (8, True)])
def test_fewer_than_five_stars_say_nothing(count: int, is_known: bool) -> None:
    angle, agreement, _ = common_direction(long_stars(np.full(count, 30.0)))
    assert (angle is not None) is is_known
    if angle is not None and agreement is not None:
        assert angle == pytest.approx(30.0)
        assert agreement == pytest.approx(1.0)
