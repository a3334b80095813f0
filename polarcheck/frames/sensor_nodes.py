"""Where on the sensor a solution is read: the nodes that stand for its stars."""

from __future__ import annotations

import math

import numpy as np

from polarcheck.vectors import Array

__all__ = ["SENSOR_NODES", "SENSOR_WEIGHTS", "node_pixels"]

_OUTER = math.sqrt(3 / 5)
_LINE = np.array([-_OUTER, 0.0, _OUTER])
_LINE_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18

SENSOR_NODES: Array = np.stack(np.meshgrid(_LINE, _LINE), axis=-1).reshape(9, 2)
"""Gauss-Legendre nodes of order 3 over width and height, (9, 2), in [-1, 1].

Their weighted second moments equal those of stars spread evenly over the sensor (1/3 on each axis), so a
fit to them weighs roll against pointing as star noise does. The sensor's corners (second moment 1) would
trust the roll too much.
"""

SENSOR_WEIGHTS: Array = np.outer(_LINE_WEIGHTS, _LINE_WEIGHTS).reshape(9)
"""Weights of the nodes, (9,); their sum is 1."""

SENSOR_NODES.flags.writeable = False
SENSOR_WEIGHTS.flags.writeable = False


def node_pixels(width_px: int, height_px: int) -> Array:
    """Return the nodes as 0-based pixel coordinates, (9, 2); the sensor spans -0.5 to size - 0.5."""
    size = np.array([width_px, height_px], dtype=float)
    return np.asarray((size - 1) / 2 + SENSOR_NODES * size / 2)
