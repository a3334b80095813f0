"""The set-up numbers before dark and at dusk: what to set, where to turn, how far off that leaves the axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.errors import Notice
from polarcheck.planning.bodies import STEP_S, Body, Moon, Shadow, moon_at, shadows, sun_at
from polarcheck.planning.compass import Compass, compass_at
from polarcheck.planning.pole_star import PoleStar, pole_stars
from polarcheck.planning.usual_errors import Expectation, expectations, level_crosstalk_arcmin
from polarcheck.rig import Rig
from polarcheck.sky import Sky, earth_orientation, sun_altitude_deg
from polarcheck.times import add_seconds
from polarcheck.vectors import Array

__all__ = ["RoughSetup", "SunTimes", "rough_setup"]

_TILTS_DEG = (0.5, 1.0, 2.0)
_SURE_JD = (2415020.5, 2488069.5)  # 1900 to 2100: ERFA, eraEpv00
_SUNSET_DEG, _POLE_STAR_DEG, _DARK_DEG = -0.83, -8.0, -18.0


@dataclass(frozen=True, slots=True)
class SunTimes:
    """The next moments at which the Sun sinks past an altitude; None where it does not within a day.

    Attributes
    ----------
    sunset : tuple of float or None
        Its upper edge, -0.83 deg.
    pole_star : tuple of float or None
        When Polaris can be found with the bare eye, about -8 deg (common practice, no source).
    dark : tuple of float or None
        End of astronomical twilight, -18 deg.
    """

    sunset: tuple[float, float] | None
    pole_star: tuple[float, float] | None
    dark: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class RoughSetup:
    """What to set before the first frame.

    Attributes
    ----------
    sky : Sky
    utc : tuple of float
        The moment, two-part Julian date.
    compass : Compass
        What a compass reads.
    sun : Body
    moon : Moon
    shadows : tuple of Shadow
        The Sun's shadow from that moment on.
    sun_times : SunTimes
        When it sets.
    stars : tuple of PoleStar
        The pole star and its neighbours.
    dusk_star : PoleStar or None
        The pole star when it comes out, where it is still too light for it.
    sidereal_time_h : float
        Local, apparent. [h]
    expected : tuple of Expectation
        What each way of setting up usually leaves.
    level : tuple of (float, float)
        Tilt of the base [deg], and how far an azimuth move of a degree then changes the altitude [arcmin].
    pole_star_hidden : bool or None
        Whether the rig file's horizon hides the pole star; None without one.
    notices : tuple of Notice
    """

    sky: Sky
    utc: tuple[float, float]
    compass: Compass
    sun: Body
    moon: Moon
    shadows: tuple[Shadow, ...]
    sun_times: SunTimes
    stars: tuple[PoleStar, ...]
    dusk_star: PoleStar | None
    sidereal_time_h: float
    expected: tuple[Expectation, ...]
    level: tuple[tuple[float, float], ...]
    pole_star_hidden: bool | None
    notices: tuple[Notice, ...]

    @property
    def latitude_dial_deg(self) -> float:
        """What to set on the latitude scale. [deg]"""
        return abs(self.sky.site.latitude_deg)

    @property
    def pole_star(self) -> PoleStar:
        """The pole star."""
        return self.stars[0]


def rough_setup(sky: Sky, utc: tuple[float, float], rig: Rig | None = None) -> RoughSetup:
    """Return the set-up numbers for a site and a moment.

    Parameters
    ----------
    sky : Sky
        Site and air.
    utc : tuple of float
        Two-part Julian date.
    rig : Rig, optional
        Travel of its knobs, its field, and its horizon, where stated.

    Returns
    -------
    RoughSetup
    """
    date = np.array([utc])
    compass = compass_at(sky.site, utc)
    stars = pole_stars(utc, sky)
    sun, times = sun_at(utc, sky), _sun_times(utc, sky)
    light = sun.airless_altitude_deg > _POLE_STAR_DEG
    sigma = None if compass.declination_deg is None else compass.sigma_deg or 0.5
    return RoughSetup(
        sky=sky,
        utc=utc,
        compass=compass,
        sun=sun,
        moon=moon_at(utc, sky),
        shadows=shadows(utc, sky),
        sun_times=times,
        stars=stars,
        dusk_star=pole_stars(times.pole_star, sky)[0] if light and times.pole_star else None,
        sidereal_time_h=float(sky.sidereal_time(date)[0]) / DEGREE / 15,
        expected=expectations(sky.refracted_pole.altitude_deg, sigma, rig),
        level=tuple((tilt, level_crosstalk_arcmin(tilt, 60.0)) for tilt in _TILTS_DEG),
        pole_star_hidden=_hidden(stars[0], rig),
        notices=(
            *compass.notices,
            *earth_orientation(date).notices,
            *_far(utc),
            *_low_pole(stars[0]),
        ),
    )


def _far(utc: tuple[float, float]) -> tuple[Notice, ...]:
    if _SURE_JD[0] <= sum(utc) <= _SURE_JD[1]:
        return ()
    text = (
        "The theories of Sun and Moon used here hold from 1900 to 2100; so far from it their places, and those of the stars, "
        "are rough. Check the date."
    )
    return (Notice("far-date", text, ("utc",)),)


def _low_pole(star: PoleStar) -> tuple[Notice, ...]:
    if star.altitude_deg > 10:
        return ()
    where = "below the horizon" if star.altitude_deg < 0 else f"only {star.altitude_deg:.0f} deg high"
    text = (
        f"The pole star stands {where}: haze, hills and refraction hide or lift it. Set up by compass or shadow and the "
        "latitude scale, and measure with frames taken elsewhere."
    )
    return (Notice("pole-star-low", text),)


def _hidden(star: PoleStar, rig: Rig | None) -> bool | None:
    horizon = rig.reach.horizon if rig else None
    if horizon is None:
        return None
    return bool(star.altitude_deg < float(horizon.altitude(star.azimuth_deg * DEGREE)) / DEGREE)


def _sun_times(utc: tuple[float, float], sky: Sky) -> SunTimes:
    seconds = np.arange(0.0, 86400.0 + 1, STEP_S)
    altitude = sun_altitude_deg(np.array([add_seconds(utc, float(s)) for s in seconds]), sky.site)
    return SunTimes(
        *(_sinks(utc, seconds, altitude, limit) for limit in (_SUNSET_DEG, _POLE_STAR_DEG, _DARK_DEG))
    )


def _sinks(
    utc: tuple[float, float], seconds: Array, altitude: Array, limit: float
) -> tuple[float, float] | None:
    passed = np.flatnonzero((altitude[:-1] >= limit) & (altitude[1:] < limit))
    if not len(passed):
        return None
    i = int(passed[0])
    part = (altitude[i] - limit) / (altitude[i] - altitude[i + 1])
    return add_seconds(utc, float(seconds[i] + part * STEP_S))
