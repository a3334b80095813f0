"""How a camera on a mount moves while the sky turns, and where stars then fall in it.

Directions are East-North-Up unit vectors along the last axis. The mount's axis is its elevated end; *north* says
whether that end points to the north celestial pole. An attitude is the rotation that carries directions fixed in
the camera from where they were at the start to where they are now, so that a star seen in direction s now appears
where ``s @ attitude`` appeared at the start.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array, rotation_matrix, unit

__all__ = ["FieldFrame", "field_rotation", "guided_attitude", "tracking_attitude"]


class FieldFrame:
    """The camera's view at the start: the line of sight, and ICRS east and north across it.

    Refraction shears the sky a little, so that the images of east and north are not quite perpendicular; the
    frame is the perpendicular pair nearest to both.

    Parameters
    ----------
    sight : ndarray, shape (3,)
        Observed direction of the field's centre.
    east, north : ndarray, shape (3,)
        Observed displacements for equally small ones to ICRS east and north there; only their ratio counts.
    """

    def __init__(self, sight: Array, east: Array, north: Array) -> None:
        self.sight = unit(sight)
        across = np.stack([east, north], axis=-1)
        across = across - self.sight[:, None] * (self.sight @ across)
        u, _, vt = np.linalg.svd(across, full_matrices=False)
        self.east, self.north = (u @ vt).T

    def place(self, directions: Array) -> Array:
        """Return where directions, shape (..., 3), fall in the focal plane, shape (..., 2), gnomonic.

        East and north components, in units of the focal length. [rad at the centre]
        """
        depth = directions @ self.sight
        return np.stack([directions @ self.east / depth, directions @ self.north / depth], axis=-1)


def tracking_attitude(axis: Array, angle: npt.ArrayLike, north: bool) -> Array:
    """Return the attitude of a camera whose mount has turned westward about its axis.

    Parameters
    ----------
    axis : ndarray, shape (..., 3)
        The mount's elevated end.
    angle : array_like, shape (...)
        Westward, as hour angle grows, in either hemisphere. [rad]
    north : bool
        Whether the elevated end points to the north celestial pole.

    Returns
    -------
    ndarray, shape (..., 3, 3)
    """
    # the sky turns left-handedly about the north celestial pole
    return rotation_matrix(axis, np.asarray(angle, dtype=float) * (-1.0 if north else 1.0))


def guided_attitude(guide: Array, guide_start: Array, sight: Array, axis: Array) -> Array:
    """Return the attitude of a camera whose guider holds one star still.

    The guider turns the mount about its right-ascension axis and about its declination axis, which is
    perpendicular to that one and to the line of sight at the start.

    Parameters
    ----------
    guide : ndarray, shape (..., 3)
        The guide star as observed at some moments.
    guide_start, sight : ndarray, shape (3,)
        Guide star and line of sight at the start.
    axis : ndarray, shape (..., 3)
        The mount's elevated end, broadcast against the moments.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        NaN where no pair of turns reaches the guide star, as may happen beside the pole.
    """
    declination_axis = unit(np.cross(axis, sight))
    third = np.cross(declination_axis, axis)  # across the axis, on the side of the line of sight
    height, breadth = np.sum(guide_start * axis, axis=-1), np.sum(guide_start * third, axis=-1)
    # the declination turn alone decides the height over the equator of the axis; the other turn does the rest
    ring, first = np.hypot(height, breadth), np.arctan2(height, breadth)
    with np.errstate(invalid="ignore"):
        lift = np.arcsin(np.sum(guide * axis, axis=-1) / ring) - first
    heading = np.arctan2(np.sum(guide * declination_axis, axis=-1), np.sum(guide * third, axis=-1))
    swing = heading - np.arctan2(np.sum(guide_start * declination_axis, axis=-1), ring * np.cos(first + lift))
    return np.asarray(rotation_matrix(axis, swing) @ rotation_matrix(declination_axis, -lift))


def field_rotation(east: Array, north: Array) -> Array:
    """Return by how much a small star field is turned, north through east positive.

    Parameters
    ----------
    east, north : ndarray, shape (..., 2)
        Focal-plane images (east, north components) of small displacements to the east and to the north.

    Returns
    -------
    ndarray, shape (...)
        The rotation nearest to the linear map that makes these images: the mean over all directions about the
        centre. Its shear does not count. [rad]
    """
    return np.asarray(np.arctan2(north[..., 0] - east[..., 1], east[..., 0] + north[..., 1]))
