"""The smallest covariance that any unbiased estimate of the axis can have, without the package's own fit.

A numeric Fisher matrix of star places on the sensor, with the camera attitude of every group and the turn of
every frame free.

References
----------
.. [1] H. Cramer, Mathematical Methods of Statistics (1946), chapter 32; C. R. Rao, Bull. Calcutta Math.
   Soc. 37 (1945) 81 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int_]

STEP = 1e-5  # of the central differences [rad]


def axis_bound(
    axis: Array, attitudes: Array, group: Ints, stars: Sequence[Array], sigma: Sequence[float]
) -> Array:
    """Covariance (2, 2) of the axis, along azimuth (times cos altitude) and altitude. [rad^2]

    Parameters
    ----------
    axis : ndarray, shape (3,)
        East-North-Up.
    attitudes : ndarray, shape (n, 3, 3)
        True attitudes, camera to East-North-Up, between which only turns about the axis lie in a group.
    group : ndarray of int, shape (n,)
        Group of each frame.
    stars : sequence of ndarray, shape (m, 3)
        For each group, star directions in the camera (third component along the boresight).
    sigma : sequence of float
        For each group, noise of a star in the tangent plane, per coordinate. [rad]
    """
    groups = int(group.max()) + 1
    size = 2 + 3 * groups + len(attitudes)
    fisher = np.zeros((size, size))
    for i, (attitude, g) in enumerate(zip(attitudes, group, strict=True)):
        first = attitudes[np.flatnonzero(group == g)[0]]
        columns = [0, 1, *(2 + 3 * g + np.arange(3)), 2 + 3 * groups + i]
        slopes = _slopes(axis, first, attitude, stars[g]) / sigma[g]
        fisher[np.ix_(columns, columns)] += slopes.T @ slopes
    return marginal(fisher)


def marginal(fisher: Array) -> Array:
    """Covariance of the first two parameters of a Fisher matrix, all others free.

    A group's camera turned about the axis does the same as all its turns; the pseudo-inverse skips that.
    """
    cross, rest = fisher[:2, 2:], fisher[2:, 2:]
    scale = np.sqrt(np.diag(rest))
    inverse = np.linalg.pinv(rest / np.outer(scale, scale), rcond=1e-9, hermitian=True)
    return np.asarray(np.linalg.inv(fisher[:2, :2] - cross @ (inverse / np.outer(scale, scale)) @ cross.T))


def rightward_and_upward(axis: Array) -> Array:
    """Unit vectors (2, 3) across an East-North-Up axis, towards growing azimuth and growing altitude."""
    azimuth = np.arctan2(axis[0], axis[1])
    rightward = np.array([np.cos(azimuth), -np.sin(azimuth), 0.0])
    return np.stack([rightward, np.cross(rightward, axis)])


def _slopes(axis: Array, first: Array, attitude: Array, stars: Array) -> Array:
    """Change of star places, (2 m, 6), with the axis (2), the camera (3) and the turn."""
    turn = float(Rotation.from_matrix(attitude @ first.T).as_rotvec() @ axis)
    sky = stars @ attitude.T
    across = rightward_and_upward(axis)
    camera = Rotation.from_matrix(first)

    def places(p: Array) -> Array:
        moved = axis + p[:2] @ across
        turned = Rotation.from_rotvec(moved / np.linalg.norm(moved) * (turn + p[5]))
        seen = (turned * Rotation.from_rotvec(p[2:5]) * camera).inv().apply(sky)
        return np.asarray(seen[:, :2] / seen[:, 2:]).ravel()

    steps = np.eye(6) * STEP
    return np.stack([(places(step) - places(-step)) / (2 * STEP) for step in steps], axis=-1)


def even_grid(width: float, height: float, columns: int = 24, rows: int = 18) -> Array:
    """Places (m, 2) spread evenly over a sensor, about its middle."""
    x = (np.arange(columns) + 0.5) / columns - 0.5
    y = (np.arange(rows) + 0.5) / rows - 0.5
    return np.stack(np.meshgrid(x * width, y * height), axis=-1).reshape(-1, 2)
