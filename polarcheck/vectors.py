"""Unit vectors, angles and rotations.

Vectors lie along the last axis of an array, rotation matrices along the last two. Local vectors are
East-North-Up; azimuth runs from north through east. Angles are in radians.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = [
    "Array",
    "angle_between",
    "azalt_from_direction",
    "best_rotations",
    "cross",
    "direction_from_azalt",
    "direction_from_spherical",
    "rotation_matrix",
    "rotation_vector",
    "spherical_from_direction",
    "tangent_basis",
    "unit",
    "wrap",
]

Array = npt.NDArray[np.float64]
"""A numpy array of float64."""


_ONE = np.eye(3)


def unit(vectors: npt.ArrayLike) -> Array:
    """Scale vectors, shape (..., 3), to length one."""
    v = np.asarray(vectors, dtype=float)
    return np.asarray(v / np.linalg.norm(v, axis=-1, keepdims=True))


def wrap(angle: npt.ArrayLike) -> Array:
    """Wrap angles to [-pi, pi). [rad]"""
    return _full_turn(np.asarray(angle, dtype=float) + np.pi) - np.pi


def direction_from_spherical(longitude: npt.ArrayLike, latitude: npt.ArrayLike) -> Array:
    """Return unit vectors, shape (..., 3), for a longitude (from x towards y) and a latitude. [rad]"""
    lon, lat = np.broadcast_arrays(np.asarray(longitude, dtype=float), np.asarray(latitude, dtype=float))
    return np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)


def spherical_from_direction(direction: npt.ArrayLike) -> tuple[Array, Array]:
    """Return longitude in [0, 2 pi) and latitude of vectors, shape (..., 3). [rad]"""
    v = np.asarray(direction, dtype=float)
    longitude = _full_turn(np.arctan2(v[..., 1], v[..., 0]))
    return longitude, np.asarray(np.arctan2(v[..., 2], np.hypot(v[..., 0], v[..., 1])))


def direction_from_azalt(azimuth: npt.ArrayLike, altitude: npt.ArrayLike) -> Array:
    """Return East-North-Up unit vectors, shape (..., 3).

    Parameters
    ----------
    azimuth : array_like
        From true north through east. [rad]
    altitude : array_like
        Above the horizon. [rad]
    """
    return direction_from_spherical(np.pi / 2 - np.asarray(azimuth, dtype=float), altitude)


def azalt_from_direction(direction: npt.ArrayLike) -> tuple[Array, Array]:
    """Return azimuth in [0, 2 pi), north through east, and altitude of East-North-Up vectors. [rad]"""
    longitude, altitude = spherical_from_direction(direction)
    return _full_turn(np.pi / 2 - longitude), altitude


def angle_between(a: npt.ArrayLike, b: npt.ArrayLike) -> Array:
    """Return the angle between vectors, shape (..., 3), in [0, pi]. [rad]

    Accurate for tiny and for nearly opposite vectors alike (the arctangent form by W. Kahan, from memory).
    """
    u, v = unit(a), unit(b)
    return np.asarray(2 * np.arctan2(np.linalg.norm(u - v, axis=-1), np.linalg.norm(u + v, axis=-1)))


def cross(a: Array, b: Array) -> Array:
    """Return vector products, shape (..., 3), of vectors, shape (..., 3).

    As `numpy.cross` does, which takes several times as long for the few vectors of a fit.
    """
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    u, v, w = b[..., 0], b[..., 1], b[..., 2]
    first = y * w - z * v
    found = np.empty((*first.shape, 3))
    found[..., 0], found[..., 1], found[..., 2] = first, z * u - x * w, x * v - y * u
    return found


def tangent_basis(direction: Array) -> Array:
    """Return two unit vectors, shape (3, 2), that span the plane across `direction`, shape (3,).

    For an East-North-Up direction the columns point towards growing azimuth and growing altitude; at the
    zenith, taken as azimuth 0, they point east and south.
    """
    x, y, _ = direction
    level = np.hypot(x, y)
    east = np.array([y, -x, 0.0]) / level if level > 1e-12 else np.array([1.0, 0.0, 0.0])
    return np.stack([east, cross(east, direction)], axis=-1)


def rotation_matrix(axis: npt.ArrayLike, angle: npt.ArrayLike) -> Array:
    """Return right-handed rotation matrices, shape (..., 3, 3), about unit axes, shape (..., 3).

    References
    ----------
    .. [1] Rodrigues' formula; checked against `scipy.spatial.transform.Rotation`.
    """
    a = np.asarray(axis, dtype=float)
    t = np.asarray(angle, dtype=float)[..., None, None]
    outer = a[..., :, None] * a[..., None, :]
    cosine = np.cos(t)
    return np.asarray(cosine * _ONE + np.sin(t) * _cross_matrix(a) + (1 - cosine) * outer)


def rotation_vector(matrix: Array) -> Array:
    """Return rotation vectors (axis times angle in [0, pi]), shape (..., 3), of rotation matrices. [rad]

    Goes through the quaternion whose largest component is found first, so that it is accurate for small
    turns and for turns near pi.

    References
    ----------
    .. [1] S. W. Shepperd, "Quaternion from rotation matrix", J. Guidance and Control 1 (1978) 223
       (from memory; checked against `scipy.spatial.transform.Rotation`).
    """
    m = np.asarray(matrix, dtype=float)
    quaternion = _quaternion(m)
    vector, scalar = quaternion[..., 1:], quaternion[..., :1]
    norm = np.linalg.norm(vector, axis=-1, keepdims=True)
    angle = 2 * np.arctan2(norm, scalar)
    return np.asarray(np.where(norm > 1e-150, vector * angle / np.where(norm > 1e-150, norm, 1), 2 * vector))


def best_rotations(template: Array, observed: Array, weights: Array) -> Array:
    """Return the rotations that carry a template of directions onto observed ones.

    Parameters
    ----------
    template : ndarray, shape (k, 3)
        Unit vectors fixed in the camera.
    observed : ndarray, shape (n, k, 3)
        The same points as seen, for `n` frames.
    weights : ndarray, shape (k,)
        Weights of the points.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        Proper rotations that minimise the weighted sum of squared distances (Wahba's problem, by
        singular values).

    References
    ----------
    .. [1] G. Wahba, SIAM Review 7 (1965) 409; W. Kabsch, Acta Cryst. A32 (1976) 922 (from memory;
       checked against `scipy.spatial.transform.Rotation.align_vectors`).
    """
    moments = np.einsum("k,nki,kj->nij", weights, observed, template)
    u, _, vt = np.linalg.svd(moments)
    sign = np.linalg.det(u) * np.linalg.det(vt)
    u[..., :, 2] *= sign[..., None]
    return np.asarray(u @ vt)


def _full_turn(angle: Array) -> Array:
    """Reduce to [0, 2 pi); the remainder of a tiny negative number rounds up to the whole turn."""
    rest = angle % (2 * np.pi)
    return np.asarray(np.where(rest < 2 * np.pi, rest, 0.0))


def _cross_matrix(v: Array) -> Array:
    found = np.zeros((*v.shape[:-1], 3, 3))
    for i, (j, k) in enumerate([(1, 2), (2, 0), (0, 1)]):
        found[..., k, j], found[..., j, k] = v[..., i], -v[..., i]
    return found


def _quaternion(m: Array) -> Array:
    """Unit quaternions (scalar first, scalar not negative), shape (..., 4)."""
    trace = np.trace(m, axis1=-2, axis2=-1)
    outer = np.empty((*m.shape[:-2], 4, 4))  # four times the outer product of the quaternion with itself
    outer[..., 0, 0] = 1 + trace
    for i, (j, k) in enumerate([(1, 2), (2, 0), (0, 1)]):
        outer[..., i + 1, i + 1] = 1 - trace + 2 * m[..., i, i]
        outer[..., 0, i + 1] = outer[..., i + 1, 0] = m[..., k, j] - m[..., j, k]
        outer[..., j + 1, k + 1] = outer[..., k + 1, j + 1] = m[..., k, j] + m[..., j, k]
    largest = np.argmax(np.diagonal(outer, axis1=-2, axis2=-1), axis=-1)
    row = np.take_along_axis(outer, largest[..., None, None], axis=-2)[..., 0, :]
    q = row / np.linalg.norm(row, axis=-1, keepdims=True)
    return np.asarray(np.where(q[..., :1] < 0, -q, q))
