"""Sun and Moon over a site: where they stand, and how much of the Moon is lit."""

from __future__ import annotations

import math

import erfa
import numpy as np

from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.site import Site
from polarcheck.sky.air import AIRLESS, Atmosphere, refraction
from polarcheck.sky.epochs import Epochs, terrestrial_time
from polarcheck.sky.observed import Sky
from polarcheck.times import add_seconds
from polarcheck.vectors import (
    Array,
    azalt_from_direction,
    direction_from_azalt,
    direction_from_spherical,
    unit,
)

__all__ = [
    "darkness_begins",
    "lifted",
    "moon_altitude_deg",
    "moon_directions",
    "moon_lit_part",
    "sun_altitude_deg",
    "sun_directions",
]

_LOW = 10 * DEGREE  # below this a formula that reaches down to the horizon
_DUSK_DEG = -12.0
_DOWN = -1 * DEGREE  # what stands lower is not seen


def sun_directions(utc: Array | Epochs, site: Site) -> Array:
    """Return where the Sun's centre stands without refraction, shape (n, 3), good to 5 arcsec.

    Parameters
    ----------
    utc : ndarray, shape (n, 2), or Epochs
        Two-part Julian dates, or these with what is known of the Earth then.
    site : Site

    Returns
    -------
    ndarray, shape (n, 3)
        East-North-Up unit vectors.
    """
    epochs = utc if isinstance(utc, Epochs) else Epochs.of(utc)
    sun = -epochs.from_sun
    distance = np.linalg.norm(sun, axis=-1, keepdims=True)
    seen = Sky(site, AIRLESS).observed((sun / distance)[:, None], epochs)[:, 0]
    return unit(seen * distance - _from_earth_centre(site))


def moon_directions(utc: Array, site: Site) -> Array:
    """Return where the Moon's centre stands without refraction, shape (n, 3), good to 10 arcsec; see `sun_directions`."""
    moon = _moon(utc)
    distance = np.linalg.norm(moon, axis=-1, keepdims=True)
    seen = Sky(site, AIRLESS).observed_beside_earth((moon / distance)[:, None], utc)[:, 0]
    return unit(seen * distance - _from_earth_centre(site))


def lifted(directions: Array, air: Atmosphere) -> Array:
    """Return where Sun or Moon are seen, down to the horizon; what stands a degree below it stays.

    Parameters
    ----------
    directions : ndarray, shape (n, 3)
        Without refraction.
    air : Atmosphere

    Returns
    -------
    ndarray, shape (n, 3)

    References
    ----------
    .. [1] T. Saemundsson, Sky & Telescope 72 (1986) 70 (from memory), below 10 deg; above, ERFA as for stars.
    """
    azimuth, altitude = azalt_from_direction(directions)
    lift = [_lift(float(true), air) for true in np.atleast_1d(altitude)]
    return direction_from_azalt(azimuth, altitude + np.reshape(lift, np.shape(altitude)))


def _lift(true: float, air: Atmosphere) -> float:
    if true >= _LOW:
        return refraction(true, air)
    if true < _DOWN:
        return 0.0
    degrees = true / DEGREE
    density = air.pressure_hpa / 1010 * 283 / (273 + air.temperature_c)
    return density * 1.02 * ARCMIN / math.tan((degrees + 10.3 / (degrees + 5.11)) * DEGREE)


def sun_altitude_deg(utc: Array | Epochs, site: Site) -> Array:
    """Return the Sun's altitude without refraction, shape (n,). [deg]"""
    return np.asarray(np.arcsin(sun_directions(utc, site)[:, 2]) / DEGREE)


def darkness_begins(now: tuple[float, float], site: Site) -> tuple[float, float]:
    """Return when it is dark tonight: now, or when the Sun next sinks 12 deg below the horizon (nautical dusk).

    Parameters
    ----------
    now : tuple of float
        Two-part quasi-Julian date, UTC. [d]
    site : Site

    Returns
    -------
    tuple of float
        To the minute. Where the Sun does not sink so low within a day, when it stands lowest.
    """
    moments = [add_seconds(now, 60.0 * minute) for minute in range(24 * 60)]
    altitudes = sun_altitude_deg(np.array(moments), site)
    dark = np.flatnonzero(altitudes < _DUSK_DEG)
    best = int(dark[0]) if len(dark) else int(np.argmin(altitudes))
    return moments[best]


def moon_altitude_deg(utc: Array, site: Site) -> Array:
    """Return the Moon's altitude without refraction, its parallax counted, shape (n,). [deg]"""
    return np.asarray(np.arcsin(moon_directions(utc, site)[:, 2]) / DEGREE)


def _from_earth_centre(site: Site) -> Array:
    """The site as seen from the Earth's centre, East-North-Up. [au]"""
    longitude, latitude = site.longitude_deg * DEGREE, site.latitude_deg * DEGREE
    place = erfa.gd2gc(1, longitude, latitude, site.height_m)
    up = direction_from_spherical(longitude, latitude)
    east = np.array([-np.sin(longitude), np.cos(longitude), 0.0])
    return np.asarray(np.stack([east, np.cross(up, east), up]) @ place / erfa.DAU)


def moon_lit_part(utc: Array) -> Array:
    """Return the illuminated fraction of the Moon's disc, shape (n,)."""
    sun, moon = _sun(utc), _moon(utc)
    from_moon = sun - moon
    cosine = np.sum(from_moon * -moon, axis=-1) / np.linalg.norm(from_moon, axis=-1)
    return np.asarray((1 + cosine / np.linalg.norm(moon, axis=-1)) / 2)


def _moon(utc: Array) -> Array:
    """Geocentric place of the Moon, shape (n, 3), light time counted, near enough ICRS. [au]"""
    return np.asarray(erfa.moon98(*terrestrial_time(utc))["p"])


def _sun(utc: Array) -> Array:
    """Geocentric place of the Sun, shape (n, 3). [au]"""
    heliocentric, _ = erfa.epv00(*terrestrial_time(utc))
    return -np.asarray(heliocentric["p"])
