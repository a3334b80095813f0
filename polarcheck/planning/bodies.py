"""Where Sun and Moon stand, and where the Sun's shadow points while the tripod is being turned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.sky import Sky, lifted, moon_directions, moon_lit_part, sun_directions
from polarcheck.times import add_seconds
from polarcheck.vectors import Array, azalt_from_direction

__all__ = ["STEP_S", "Body", "Moon", "Shadow", "moon_at", "shadows", "sun_at"]

STEP_S = 600.0
"""Between two looks at the Sun. [s]"""

_MOST_S = 4 * 3600.0
_LEAST_ALTITUDE_DEG = 1.0  # below it a shadow has no end
_DISC_DEG = 0.27  # half of the Sun's disc


@dataclass(frozen=True, slots=True)
class Body:
    """Sun or Moon at one moment.

    Attributes
    ----------
    azimuth_deg, altitude_deg : float
        Of the centre of the disc, as seen through the air; what is down stays where it is. [deg]
    airless_altitude_deg : float
        Without refraction. [deg]
    direction : ndarray, shape (3,)
        As seen.
    """

    azimuth_deg: float
    altitude_deg: float
    airless_altitude_deg: float
    direction: Array

    @property
    def is_up(self) -> bool:
        """Whether any of the disc stands above a level horizon."""
        return self.altitude_deg > -_DISC_DEG

    @property
    def shadow_azimuth_deg(self) -> float | None:
        """Where the shadow of an upright pole points; None where there is none. [deg]"""
        return (self.azimuth_deg + 180.0) % 360.0 if self.is_up else None


@dataclass(frozen=True, slots=True)
class Moon:
    """The Moon at one moment.

    Attributes
    ----------
    body : Body
        Where it stands.
    lit : float
        Illuminated part of its disc.
    """

    body: Body
    lit: float


@dataclass(frozen=True, slots=True)
class Shadow:
    """A line of the table of shadows.

    Attributes
    ----------
    utc : tuple of float
        Two-part Julian date.
    azimuth_deg : float
        Where the shadow of an upright pole points. [deg]
    altitude_deg : float
        Of the Sun. [deg]
    length : float
        Of the shadow, in heights of the pole.
    """

    utc: tuple[float, float]
    azimuth_deg: float
    altitude_deg: float
    length: float


def sun_at(utc: tuple[float, float], sky: Sky) -> Body:
    """Return where the Sun stands."""
    return _body(sun_directions(np.array([utc]), sky.site), sky)


def moon_at(utc: tuple[float, float], sky: Sky) -> Moon:
    """Return where the Moon stands, and how much of it is lit."""
    date = np.array([utc])
    return Moon(_body(moon_directions(date, sky.site), sky), float(moon_lit_part(date)[0]))


def shadows(utc: tuple[float, float], sky: Sky) -> tuple[Shadow, ...]:
    """Tabulate the Sun's shadow every ten minutes from a moment on, four hours or until it sets.

    Parameters
    ----------
    utc : tuple of float
        The first line, two-part Julian date.
    sky : Sky

    Returns
    -------
    tuple of Shadow
        Empty where the Sun stands below 1 deg.
    """
    times = [add_seconds(utc, float(s)) for s in np.arange(0.0, _MOST_S + 1, STEP_S)]
    azimuth, altitude = azalt_from_direction(lifted(sun_directions(np.array(times), sky.site), sky.air))
    down = np.flatnonzero(altitude < _LEAST_ALTITUDE_DEG * DEGREE)
    last = int(down[0]) if len(down) else len(times)
    return tuple(
        Shadow(
            times[i],
            (float(azimuth[i]) / DEGREE + 180.0) % 360.0,
            float(altitude[i]) / DEGREE,
            1 / float(np.tan(altitude[i])),
        )
        for i in range(last)
    )


def _body(airless: Array, sky: Sky) -> Body:
    seen = lifted(airless, sky.air)[0]
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(seen))
    return Body(azimuth, altitude, float(np.arcsin(airless[0, 2])) / DEGREE, seen)
