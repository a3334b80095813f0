"""Where the pole star stands about the pole, for the eye, for a polar finder, and for a picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.constants import ARCMIN, DEGREE, SIDEREAL_RATE
from polarcheck.sky import AIRLESS, NEIGHBOURS, POLE_STAR, CatalogueStars, Pole, Sky, stars_near_pole
from polarcheck.vectors import Array, angle_between, azalt_from_direction, wrap

__all__ = ["PoleField", "PoleStar", "pole_field", "pole_stars"]


@dataclass(frozen=True, slots=True)
class PoleStar:
    """A star near the visible pole.

    Attributes
    ----------
    name : str
    magnitude : float
        Hipparcos magnitude, about visual.
    hour_angle_h : float
        West positive, in [0, 24). [h]
    distance_arcmin : float
        From the true pole, as without air. [arcmin]
    refracted_distance_arcmin : float
        As seen, from the refracted pole. [arcmin]
    azimuth_deg, altitude_deg : float
        As seen. [deg]
    azimuth_offset_arcmin, altitude_offset_arcmin : float
        Star minus refracted pole; azimuth is an angle about the vertical. [arcmin]
    clock_naked_eye, clock_inverted : float
        Where it stands about the pole like the hand of a clock, for someone who faces the pole: seen by eye (or through
        an upright finder), and through a finder that turns the view by 180 deg. In (0, 12], 12 at the top. [h]
    """

    name: str
    magnitude: float
    hour_angle_h: float
    distance_arcmin: float
    refracted_distance_arcmin: float
    azimuth_deg: float
    altitude_deg: float
    azimuth_offset_arcmin: float
    altitude_offset_arcmin: float
    clock_naked_eye: float
    clock_inverted: float

    @property
    def speed_arcmin_per_h(self) -> float:
        """How fast it goes around the pole. [arcmin/h]"""
        return self.distance_arcmin * SIDEREAL_RATE * 3600


@dataclass(frozen=True, slots=True)
class PoleField:
    """The stars around the visible pole as seen, for a picture.

    Attributes
    ----------
    pole : Pole
        The refracted pole.
    azimuth_deg, altitude_deg, magnitudes : ndarray, shape (n,)
        As seen. [deg]
    names : tuple of str
        Empty for most.
    """

    pole: Pole
    azimuth_deg: Array
    altitude_deg: Array
    magnitudes: Array
    names: tuple[str, ...]


def pole_stars(utc: tuple[float, float], sky: Sky) -> tuple[PoleStar, ...]:
    """Return the pole star and its named neighbours, the pole star first.

    Parameters
    ----------
    utc : tuple of float
        Two-part Julian date.
    sky : Sky

    Returns
    -------
    tuple of PoleStar
        In the north Polaris, in the south sigma Octantis.
    """
    names = NEIGHBOURS[sky.is_north]
    catalogue = stars_near_pole(sky.is_north)
    stars = catalogue.some(np.isin(catalogue.hip, list(names)))
    _, first = POLE_STAR[sky.is_north]
    order = sorted(range(len(stars.hip)), key=lambda i: list(names).index(int(stars.hip[i])))
    assert int(stars.hip[order[0]]) == first
    date = np.array([utc])
    icrs = stars.at(utc)[None]
    seen, airless = sky.observed(icrs, date)[0], Sky(sky.site, AIRLESS).observed(icrs, date)[0]
    return tuple(
        _pole_star(names[int(stars.hip[i])], float(stars.magnitudes[i]), seen[i], airless[i], sky)
        for i in order
    )


def pole_field(utc: tuple[float, float], sky: Sky, width_deg: float) -> PoleField:
    """Return the stars around the visible pole as seen.

    Parameters
    ----------
    utc : tuple of float
        Two-part Julian date.
    sky : Sky
    width_deg : float
        Of the square around the refracted pole, at most 8. [deg]
    """
    catalogue: CatalogueStars = stars_near_pole(sky.is_north)
    seen = sky.observed(catalogue.at(utc)[None], np.array([utc]))[0]
    near = angle_between(seen, sky.refracted_pole.direction) < width_deg * 0.75 * DEGREE
    azimuth, altitude = azalt_from_direction(seen[near])
    names = tuple(NEIGHBOURS[sky.is_north].get(int(hip), "") for hip in catalogue.hip[near])
    return PoleField(
        sky.refracted_pole, azimuth / DEGREE, altitude / DEGREE, catalogue.magnitudes[near], names
    )


def _pole_star(name: str, magnitude: float, seen: Array, airless: Array, sky: Sky) -> PoleStar:
    pole = sky.refracted_pole
    azimuth, altitude = (float(angle) for angle in azalt_from_direction(seen))
    across = float(wrap(azimuth - pole.azimuth_deg * DEGREE))
    up = altitude - pole.altitude_deg * DEGREE
    clock = _clock(seen, pole.direction)
    return PoleStar(
        name=name,
        magnitude=magnitude,
        hour_angle_h=_hour_angle_h(airless, sky),
        distance_arcmin=float(angle_between(airless, sky.true_pole.direction)) / ARCMIN,
        refracted_distance_arcmin=float(angle_between(seen, pole.direction)) / ARCMIN,
        azimuth_deg=azimuth / DEGREE,
        altitude_deg=altitude / DEGREE,
        azimuth_offset_arcmin=across / ARCMIN,
        altitude_offset_arcmin=up / ARCMIN,
        clock_naked_eye=clock,
        clock_inverted=_dial(clock + 6.0),
    )


def _clock(seen: Array, pole: Array) -> float:
    """Hours clockwise from the top about the pole, for someone who faces it: azimuth grows to the right. [h]"""
    level = np.hypot(pole[0], pole[1])
    right = np.array([pole[1], -pole[0], 0.0]) / level if level > 1e-12 else np.array([1.0, 0.0, 0.0])
    up = np.cross(right, pole)
    return _dial(float(np.arctan2(seen @ right, seen @ up)) / DEGREE / 30.0)


def _dial(hours: float) -> float:
    wrapped = hours % 12.0
    return wrapped if wrapped > 0 else 12.0


def _hour_angle_h(airless: Array, sky: Sky) -> float:
    """Of a direction without refraction, from the Earth's own axis. [h]"""
    latitude = sky.site.latitude_deg * DEGREE
    east, north, up = airless
    towards_equator = up * np.cos(latitude) - north * np.sin(latitude)
    return float(np.arctan2(-east, towards_equator)) / DEGREE / 15.0 % 24.0
