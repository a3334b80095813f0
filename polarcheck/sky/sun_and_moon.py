"""Sun and Moon over a site: how high they stand, and how much of the Moon is lit."""

from __future__ import annotations

import erfa
import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.site import Site
from polarcheck.sky.air import AIRLESS
from polarcheck.sky.earth import earth_orientation
from polarcheck.sky.observed import Sky
from polarcheck.vectors import Array

__all__ = ["moon_altitude_deg", "moon_lit_part", "sun_altitude_deg"]

_EARTH_RADIUS_AU = 4.2635e-5  # 6378.1 km


def sun_altitude_deg(utc: Array, site: Site) -> Array:
    """Return the Sun's altitude without refraction, shape (n,), good to 0.02 deg. [deg]"""
    heliocentric, _ = erfa.epv00(utc[:, 0], utc[:, 1])
    sun = -heliocentric["p"]
    sun /= np.linalg.norm(sun, axis=-1, keepdims=True)
    return np.asarray(np.arcsin(Sky(site, AIRLESS).observed(sun[:, None], utc)[:, 0, 2]) / DEGREE)


def moon_altitude_deg(utc: Array, site: Site) -> Array:
    """Return the Moon's altitude without refraction, its parallax counted, shape (n,), good to 0.1 deg. [deg]"""
    moon, earth = _moon(utc), earth_orientation(utc)
    distance = np.linalg.norm(moon, axis=-1, keepdims=True)
    seen = Sky(site, AIRLESS).observed((moon / distance)[:, None], utc, earth)[:, 0]
    # parallax lowers the Moon by the observer's distance from the Earth's centre, nearly along the vertical
    lowered = seen * distance - np.array([0.0, 0.0, _EARTH_RADIUS_AU])
    return np.asarray(np.arcsin(lowered[:, 2] / np.linalg.norm(lowered, axis=-1)) / DEGREE)


def moon_lit_part(utc: Array) -> Array:
    """Return the illuminated fraction of the Moon's disc, shape (n,)."""
    heliocentric, _ = erfa.epv00(utc[:, 0], utc[:, 1])
    sun, moon = -heliocentric["p"], _moon(utc)
    from_moon = sun - moon
    cosine = np.sum(from_moon * -moon, axis=-1) / np.linalg.norm(from_moon, axis=-1)
    return np.asarray((1 + cosine / np.linalg.norm(moon, axis=-1)) / 2)


def _moon(utc: Array) -> Array:
    """Geocentric place of the Moon, shape (n, 3), near enough ICRS. [au]"""
    return np.asarray(erfa.moon98(utc[:, 0], utc[:, 1])["p"])
