"""The nodes that stand for a sensor's stars."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.frames import SENSOR_NODES, SENSOR_WEIGHTS


@pytest.mark.parametrize("power", range(8))
def test_moments_are_those_of_stars_spread_evenly(power: int) -> None:
    """Along a side, from -1 to 1: 1 / (k + 1) for even k, none for odd ones; the eighth is the first that four nodes miss."""
    evenly = (1 + (-1) ** power) / 2 / (power + 1)
    assert SENSOR_WEIGHTS @ SENSOR_NODES**power == pytest.approx([evenly, evenly], abs=1e-15)


def test_nodes_are_the_fewest_that_hold_so_many_moments() -> None:
    """Gauss and Legendre's for each side, as numpy has them; results on disk hold one direction for each."""
    line, weights = np.polynomial.legendre.leggauss(4)
    x, y = np.meshgrid(line, line)
    np.testing.assert_allclose(SENSOR_NODES, np.column_stack([x.ravel(), y.ravel()]), atol=1e-15)
    np.testing.assert_allclose(SENSOR_WEIGHTS, np.outer(weights, weights).ravel() / 4, atol=1e-15)
