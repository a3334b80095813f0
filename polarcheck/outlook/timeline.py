"""A night for one target: from dusk to dawn, how high it stands, when the sky is dark, how long to expose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.alignment import Alignment
from polarcheck.constants import DEGREE
from polarcheck.errors import InputError
from polarcheck.outlook.drift import Rate, steady_rate
from polarcheck.outlook.fast_sky import FastSky
from polarcheck.outlook.field_motion import Tracking, field_limits
from polarcheck.outlook.optics import Optics
from polarcheck.presenting import WithDict, WithPlot, WithTable
from polarcheck.site import Site
from polarcheck.sky import Sky, moon_altitude_deg, moon_lit_part, sun_altitude_deg
from polarcheck.times import add_seconds, iso_from_utc
from polarcheck.vectors import Array, direction_from_spherical

__all__ = ["Night", "Timeline", "night_of", "night_timeline"]

_DARK_SUN_DEG = -18.0  # end of astronomical twilight
_DIM_SUN_DEG = -12.0  # of nautical twilight, where the sky never gets darker
_STEP_S = 300.0
_LOWEST_DEG = 5.0
_ROW_S = 900.0


@dataclass(frozen=True, slots=True)
class Night:
    """When it is dark.

    Attributes
    ----------
    dusk, dawn : tuple of float
        Two-part Julian dates.
    sun_deg : float
        Altitude of the Sun that they stand for: -18, or -12 where it does not sink as far. [deg]
    """

    dusk: tuple[float, float]
    dawn: tuple[float, float]
    sun_deg: float


@dataclass(frozen=True, slots=True, repr=False)
class Timeline(WithDict, WithTable, WithPlot):
    """One target over one night.

    Attributes
    ----------
    night : Night
    seconds : ndarray, shape (n,)
        Of the rows, since dusk. [s]
    altitude_deg : ndarray, shape (n,)
        Observed altitude of the target. [deg]
    hour_angle_deg : ndarray, shape (n,)
        Of the target about the pole, west positive. [deg]
    moon_altitude_deg : ndarray, shape (n,)
        [deg]
    moon_lit : float
        Illuminated part of its disc, in the middle of the night.
    limit_s : ndarray, shape (n,)
        Longest exposure that begins then; infinite without a limit, NaN where the target is below 5 deg. [s]
    meridian_s : float or None
        When the target crosses the upper meridian, since dusk, if it does. [s]
    guided : bool
    tolerance_arcsec : float
    hidden : ndarray of bool, shape (n,), or None
        Rows in which the target is behind the site's horizon, where one is known; their limits are NaN.
    """

    night: Night
    seconds: Array
    altitude_deg: Array
    hour_angle_deg: Array
    moon_altitude_deg: Array
    moon_lit: float
    limit_s: Array
    meridian_s: float | None
    guided: bool
    tolerance_arcsec: float
    hidden: npt.NDArray[np.bool_] | None = None

    def __repr__(self) -> str:
        night, how = self.night, "guided" if self.guided else "unguided"
        return f"Timeline({iso_from_utc(night.dusk)[:16]} to {iso_from_utc(night.dawn)[:16]}, {how})"

    @property
    def moonless_s(self) -> float:
        """For how long the target is up, see `spans_up_s`, while the Moon is down, from the rows. [s]"""
        free = (self.moon_altitude_deg < 0) & self._is_up
        return float(free.mean()) * float(self.seconds[-1])

    @property
    def spans_up_s(self) -> tuple[tuple[float, float], ...]:
        """When the target stands at 5 deg or higher, and not hidden: beginnings and ends, since dusk. [s]"""
        up = self._is_up
        crossings = [self._edge(int(i)) for i in np.flatnonzero(up[:-1] != up[1:])]
        bounds = [*([float(self.seconds[0])] if up[0] else []), *crossings]
        bounds += [float(self.seconds[-1])] if up[-1] else []
        return tuple(zip(bounds[::2], bounds[1::2], strict=True))

    @property
    def _is_up(self) -> npt.NDArray[np.bool_]:
        up = self.altitude_deg >= _LOWEST_DEG
        return np.asarray(up if self.hidden is None else up & ~self.hidden)

    def _edge(self, i: int) -> float:
        """Between two rows: where 5 deg are passed, or half-way where the horizon is. [s]"""
        above = self.altitude_deg[i : i + 2] >= _LOWEST_DEG
        if above[0] != above[1]:
            return _crossing(self.seconds, self.altitude_deg, i, _LOWEST_DEG)
        return float(self.seconds[i : i + 2].mean())


def night_of(utc: tuple[float, float], site: Site) -> Night:
    """Find the night that holds a moment, or else the one that comes next.

    Parameters
    ----------
    utc : tuple of float
        Two-part Julian date.
    site : Site

    Returns
    -------
    Night

    Raises
    ------
    InputError
        The Sun does not sink below -12 deg, or does not rise above it, within a day and a half.
    """
    seconds = np.arange(-20 * 3600.0, 40 * 3600.0, _STEP_S)
    dates = np.array([add_seconds(utc, float(s)) for s in seconds])
    sun = sun_altitude_deg(dates, site)
    dim = _dark_span(seconds, sun, _DIM_SUN_DEG)
    if dim is not None:
        inside = (seconds >= dim[0]) & (seconds <= dim[1])
        dark = _dark_span(seconds[inside], sun[inside], _DARK_SUN_DEG, before=-np.inf)
        begin, end = dim if dark is None else dark
        limit = _DIM_SUN_DEG if dark is None else _DARK_SUN_DEG
        return Night(add_seconds(utc, begin), add_seconds(utc, end), limit)
    raise InputError(
        "there is no night around that time at this site: the Sun stays above -12 deg, or below it all day; give "
        "another time",
        ["utc"],
    )


def _dark_span(seconds: Array, sun: Array, limit: float, before: float = 0.0) -> tuple[float, float] | None:
    """First span with the Sun below a limit that ends after a moment. [s]"""
    dark = sun < limit
    begins = np.flatnonzero(~dark[:-1] & dark[1:])
    ends = np.flatnonzero(dark[:-1] & ~dark[1:])
    for end in ends[seconds[ends + 1] > before]:
        earlier = begins[begins < end]
        if len(earlier):
            return _crossing(seconds, sun, int(earlier[-1]), limit), _crossing(seconds, sun, int(end), limit)
    return None


def _crossing(seconds: Array, altitude: Array, i: int, limit: float) -> float:
    part = (limit - altitude[i]) / (altitude[i + 1] - altitude[i])
    return float(seconds[i] + part * (seconds[i + 1] - seconds[i]))


def night_timeline(
    alignment: Alignment,
    target_deg: tuple[float, float],
    utc: tuple[float, float],
    optics: Optics,
    tolerance_arcsec: float,
    *,
    guided: bool,
    rate: Rate = "sidereal",
) -> Timeline:
    """Follow a target from dusk to dawn.

    Parameters
    ----------
    alignment : Alignment
        The mount stays so all night.
    target_deg : tuple of float
        ICRS right ascension and declination. [deg]
    utc : tuple of float
        Any moment of the night, two-part Julian date.
    optics : Optics
    tolerance_arcsec : float
        [arcsec]
    guided : bool
    rate : {"sidereal", "king", "solar", "lunar"}

    Returns
    -------
    Timeline

    Raises
    ------
    InputError
        There is no night, or the target never rises during it.
    """
    site = alignment.site
    night = night_of(utc, site)
    length = float(((night.dawn[0] - night.dusk[0]) + (night.dawn[1] - night.dusk[1])) * 86400.0)
    seconds = np.linspace(0.0, length, max(2, round(length / _ROW_S) + 1))
    dates = np.array([add_seconds(night.dusk, float(s)) for s in seconds])
    sight = _sight(alignment.sky, target_deg, dates)
    altitude = np.arcsin(sight[:, 2]) / DEGREE
    if altitude.max() < _LOWEST_DEG:
        raise InputError(
            f"the target stays below {_LOWEST_DEG:.0f} deg all night (highest {altitude.max():.0f} deg); "
            "check target, time and site",
            ["target_deg", "utc", "site"],
        )
    fast = FastSky(alignment.sky)
    up = altitude >= _LOWEST_DEG
    hours, declinations = fast.place(fast.unlifted(sight))
    turns = _turns(rate, fast, sight, alignment.pole.direction)
    limit = np.full(len(seconds), np.nan)
    limit[up], _ = field_limits(
        (hours[up], declinations[up]),
        fast,
        optics,
        Tracking(alignment.axis, guided, turns[up]),
        tolerance_arcsec,
    )
    hours = hours / DEGREE
    return Timeline(
        night=night,
        seconds=seconds,
        altitude_deg=altitude,
        hour_angle_deg=hours,
        moon_altitude_deg=moon_altitude_deg(dates, site),
        moon_lit=float(moon_lit_part(dates[len(dates) // 2 :][:1])[0]),
        limit_s=limit,
        meridian_s=_meridian(seconds, hours),
        guided=guided,
        tolerance_arcsec=tolerance_arcsec,
    )


def _sight(sky: Sky, target_deg: tuple[float, float], dates: Array) -> Array:
    """Observed directions of a target at moments, shape (n, 3)."""
    star = direction_from_spherical(target_deg[0] * DEGREE, target_deg[1] * DEGREE)
    return sky.observed(np.broadcast_to(star, (len(dates), 1, 3)), dates)[:, 0]


def _turns(rate: Rate, fast: FastSky, sight: Array, pole: Array) -> Array:
    """Rate at which the unguided mount turns for an exposure that begins at each moment, shape (n,). [rad/s]"""
    if rate != "king":
        return np.full(len(sight), steady_rate(rate))
    around = (-1.0, 1.0)  # seconds
    airless = fast.unlifted(sight)
    before, after = (fast.seen(fast.turned(airless[:, None], np.full(len(sight), s)))[:, 0] for s in around)
    a, b = np.cross(pole, before), np.cross(pole, after)
    angle = np.arctan2(np.cross(a, b) @ pole, np.sum(a * b, axis=-1))
    return np.asarray((-angle if fast.north else angle) / 2.0)


def _meridian(seconds: Array, hours: Array) -> float | None:
    rising = np.flatnonzero((hours[:-1] < 0) & (hours[1:] >= 0) & (hours[1:] - hours[:-1] < 180))
    if not len(rising):
        return None
    i = int(rising[0])
    return float(np.interp(0.0, hours[i : i + 2], seconds[i : i + 2]))
