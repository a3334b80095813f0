"""Many stars over the sky of a site at once, quicker than ERFA: rigid turn of the sky, then refraction.

Within an exposure a star moves on its parallel of date, and the air lifts it by the two constants of ERFA's formula.
What is left out (the change of aberration and precession within hours) is under a hundredth of an arcsecond a minute.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.constants import DEGREE, SIDEREAL_RATE
from polarcheck.sky import Sky, refraction_constants, tracking_attitude
from polarcheck.vectors import Array, unit

__all__ = ["FastSky"]


class FastSky:
    """The sky of a site for many stars.

    Parameters
    ----------
    sky : Sky
        Site and air.
    """

    def __init__(self, sky: Sky) -> None:
        phi = sky.site.latitude_deg * DEGREE
        self.north = sky.is_north
        self.constants = refraction_constants(sky.air)
        self.celestial_pole = np.array([0.0, np.cos(phi), np.sin(phi)])
        self.upper_meridian = np.array([0.0, -np.sin(phi), np.cos(phi)])

    def airless(self, hour_angle: Array, declination: Array) -> tuple[Array, Array, Array]:
        """Return where stars stand without air, and east and north there.

        Parameters
        ----------
        hour_angle, declination : ndarray, shape (n,)
            Of date, west and north positive. [rad]

        Returns
        -------
        star, east, north : ndarray, shape (n, 3)
            East-North-Up.
        """
        c, s = np.cos(hour_angle)[:, None], np.sin(hour_angle)[:, None]
        cd, sd = np.cos(declination)[:, None], np.sin(declination)[:, None]
        west = np.array([-1.0, 0.0, 0.0])
        outward = c * self.upper_meridian + s * west
        star = cd * outward + sd * self.celestial_pole
        return star, s * self.upper_meridian - c * west, cd * self.celestial_pole - sd * outward

    def place(self, airless: Array) -> tuple[Array, Array]:
        """Return hour angle, within +-pi, and declination of date of directions without air, shape (n, 3). [rad]"""
        height = np.clip(airless @ self.celestial_pole, -1.0, 1.0)
        return np.arctan2(-airless[:, 0], airless @ self.upper_meridian), np.arcsin(height)

    def turned(self, airless: Array, seconds: npt.ArrayLike) -> Array:
        """Return where stars, shape (..., k, 3), stand without air some seconds, shape (...), later."""
        elevated = self.celestial_pole if self.north else -self.celestial_pole
        turns = tracking_attitude(elevated, SIDEREAL_RATE * np.asarray(seconds, dtype=float), self.north)
        return np.asarray(airless @ np.swapaxes(turns, -1, -2))

    def seen(self, airless: Array) -> Array:
        """Lift directions, shape (..., 3), by refraction, as ERFA's ``eraAtioq`` does."""
        a, b = self.constants
        level = np.maximum(np.hypot(airless[..., 0], airless[..., 1]), 1e-6)
        height = np.maximum(airless[..., 2], 0.05)
        tangent = level / height
        cubic = b * tangent**2
        lift = (a + cubic) * tangent / (1 + (a + 3 * cubic) / (height**2 / (level**2 + height**2)))
        seen = airless * (1 - lift * airless[..., 2] / level)[..., None]
        seen[..., 2] = airless[..., 2] + lift * level
        return unit(seen)

    def unlifted(self, seen: Array) -> Array:
        """Return where directions that are seen, shape (..., 3), would stand without air."""
        airless = seen
        for _ in range(20):
            step = self.seen(airless) - seen
            airless = unit(airless - step)
            if np.allclose(step, 0.0):  # each step leaves less than a hundredth of itself
                break
        return np.asarray(airless)
