"""Where on the sensor a solution is read: the nodes that stand for its stars."""

from __future__ import annotations

import numpy as np

from polarcheck.vectors import Array, unit

__all__ = ["SENSOR_NODES", "SENSOR_WEIGHTS", "node_pixels", "nodes_from_nine"]

_LINE = np.array([-0.8611363115940526, -0.3399810435848563, 0.3399810435848563, 0.8611363115940526])
_LINE_WEIGHTS = np.array([0.3478548451374538, 0.6521451548625461, 0.6521451548625461, 0.3478548451374538]) / 2

SENSOR_NODES: Array = np.stack(np.meshgrid(_LINE, _LINE), axis=-1).reshape(16, 2)
"""Gauss-Legendre nodes of order 4 over width and height, (16, 2), in [-1, 1].

Their weighted moments up to the seventh power equal those of stars spread evenly over the sensor, so a fit to them
weighs roll against pointing as star noise does; the sensor's corners (second moment 1 in place of 1/3) would trust the
roll too much. Roll multiplies what the solution says by the distance from the middle: for a distortion of order 5 that is
a sixth power, which three nodes a line take wrongly (roll noise of 1.44 times the stars', however many they are).

References
----------
.. [1] M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions (1964), table 25.4, n = 4.
"""

SENSOR_WEIGHTS: Array = np.outer(_LINE_WEIGHTS, _LINE_WEIGHTS).reshape(16)
"""Weights of the nodes, (16,); their sum is 1."""

SENSOR_NODES.flags.writeable = False
SENSOR_WEIGHTS.flags.writeable = False


def node_pixels(width_px: int, height_px: int) -> Array:
    """Return the nodes as 0-based pixel coordinates, (16, 2); the sensor spans -0.5 to size - 0.5."""
    size = np.array([width_px, height_px], dtype=float)
    return np.asarray((size - 1) / 2 + SENSOR_NODES * size / 2)


def nodes_from_nine(directions: Array) -> Array:
    """Carry directions at the nine nodes that older results hold to the nodes of today.

    Parameters
    ----------
    directions : ndarray, shape (9, 3)
        Unit vectors at the Gauss-Legendre nodes of order 3; rows of the sensor one after the other.

    Returns
    -------
    ndarray, shape (16, 3)
        Unit vectors, by squares in x and y about the middle in the tangent plane: exact for a lens that keeps straight
        lines straight.

    Raises
    ------
    ValueError
        Some lie 90 deg or more from the middle one.
    """
    middle = directions[4]
    towards = directions @ middle
    if not (towards > 0).all():
        raise ValueError("no camera sees this")
    plane = (directions / towards[:, None]).reshape(3, 3, 3)
    outer = np.sqrt(3 / 5)
    to_left, to_right = (_LINE / outer - 1) / 2, (_LINE / outer + 1) / 2
    along = _LINE / outer
    shares = np.stack(
        [along * to_left, 1 - along**2, along * to_right], axis=-1
    )  # Lagrange's, of three places
    return unit(np.einsum("iy,jx,yxk->ijk", shares, shares, plane).reshape(16, 3))
