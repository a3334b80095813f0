"""Stars around the poles: how far out, and how many."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.sky.pole_stars import hipparcos_stars_near, stars_near_pole
from tests.helpers import DEG


@pytest.mark.parametrize("north", [True, False], ids=["north", "south"])
def test_stars_within_six_degrees_of_the_pole_are_all_there(north: bool) -> None:
    """A polar finder shows 5 to 6 deg of sky from edge to edge, and may stand off by as much (common practice)."""
    near = stars_near_pole(north)
    every = hipparcos_stars_near(np.array([0.0, 0.0, 1.0]), np.pi).places[:, 2] * (1 if north else -1)
    assert len(near.hip) == np.sum(every > np.cos(6 * DEG))
