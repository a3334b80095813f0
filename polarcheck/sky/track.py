"""The way of a few stars over the sky of a site, sampled once and read at any moment.

Asking ERFA at every moment is slow. A star that is turned back by the sidereal angle about the pole hardly moves:
what is left is refraction, aberration and the like, smooth enough to read linearly between samples a minute apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.constants import DEGREE, SIDEREAL_RATE
from polarcheck.sky.camera_motion import FieldFrame, tracking_attitude
from polarcheck.sky.observed import Sky
from polarcheck.times import add_seconds
from polarcheck.vectors import Array, direction_from_spherical, unit

__all__ = ["Track", "field_frame", "field_points", "star_track"]

_STEP_S = 60.0  # linear reading errs by under 0.05 arcsec above an altitude of 5 deg


@dataclass(frozen=True, slots=True)
class Track:
    """Observed directions of `k` stars from a start on.

    Attributes
    ----------
    seconds : ndarray, shape (n,)
        Of the samples, from 0 on. [s]
    still : ndarray, shape (n, k, 3)
        The samples, turned back about the true pole by the sidereal angle. East-North-Up.
    pole : ndarray, shape (3,)
        The true pole, elevated.
    north : bool
        Whether that is the north celestial pole.
    """

    seconds: Array
    still: Array
    pole: Array
    north: bool

    def at(self, seconds: Array) -> Array:
        """Return the observed directions, shape (m, k, 3), at moments within the samples, shape (m,)."""
        index = np.clip(np.searchsorted(self.seconds, seconds, side="right") - 1, 0, len(self.seconds) - 2)
        width = self.seconds[index + 1] - self.seconds[index]
        part = ((seconds - self.seconds[index]) / width)[:, None, None]
        still = unit(self.still[index] * (1 - part) + self.still[index + 1] * part)
        return np.asarray(still @ self._turns(seconds).swapaxes(-1, -2))

    def _turns(self, seconds: Array) -> Array:
        return tracking_attitude(self.pole, SIDEREAL_RATE * seconds, self.north)


def star_track(stars: Array, utc: tuple[float, float], duration_s: float, sky: Sky) -> Track:
    """Follow stars over the sky.

    Parameters
    ----------
    stars : ndarray, shape (k, 3)
        ICRS unit vectors.
    utc : tuple of float
        Start, two-part Julian date.
    duration_s : float
        How long. [s]
    sky : Sky
        Where, and the air there.

    Returns
    -------
    Track
    """
    count = max(2, int(np.ceil(duration_s / _STEP_S)) + 1)
    seconds = np.linspace(0.0, max(duration_s, 1.0), count)
    dates = np.array([add_seconds(utc, float(s)) for s in seconds])
    directions = np.broadcast_to(stars, (count, *stars.shape))
    observed = sky.observed(directions, dates)
    pole = sky.true_pole.direction
    turns = tracking_attitude(pole, SIDEREAL_RATE * seconds, sky.is_north)
    return Track(seconds, observed @ turns, pole, sky.is_north)


def field_points(target_deg: tuple[float, float], offsets: Array) -> Array:
    """Return ICRS directions of a target, of its derivative points, and of points offset from it.

    Parameters
    ----------
    target_deg : tuple of float
        ICRS right ascension and declination. [deg]
    offsets : ndarray, shape (k, 2)
        Gnomonic, east and north. [rad]

    Returns
    -------
    ndarray, shape (5 + k, 3)
        The target; four points a little east, west, north and south of it for `field_frame`; the offset ones.
    """
    centre = direction_from_spherical(target_deg[0] * DEGREE, target_deg[1] * DEGREE)
    east, north = _across(centre, target_deg[0] * DEGREE)
    little = 1e-4 * np.array(
        [[0.0, 0.0], [1, 0], [-1, 0], [0, 1], [0, -1]]
    )  # their directions count, not how far
    wanted = np.concatenate([little, np.asarray(offsets, dtype=float).reshape(-1, 2)])
    return unit(centre + wanted[:, :1] * east + wanted[:, 1:] * north)


def _across(centre: Array, ra: float) -> tuple[Array, Array]:
    """East and north at a direction; at a celestial pole by its right ascension."""
    east = np.array([-np.sin(ra), np.cos(ra), 0.0])
    return east, np.cross(centre, east)


def field_frame(points: Array) -> FieldFrame:
    """Return the camera's view from the first five of `field_points` as observed at the start, shape (5, 3)."""
    return FieldFrame(points[0], points[1] - points[2], points[3] - points[4])
