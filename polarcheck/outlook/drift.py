"""How a target drifts in the camera, and how its field rotates, while a misaligned mount tracks it.

The star moves by the real sky, the camera turns about the measured axis at a steady rate; the drift is where the
star is in the camera minus where it was. To first order the rate is that of the misalignment times the sidereal
rate, but nothing here is first order.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from polarcheck.alignment import Alignment
from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.errors import InputError, Notice
from polarcheck.presenting import WithDict, WithPlot, WithTable
from polarcheck.sky import (
    Pole,
    Track,
    field_frame,
    field_points,
    field_rotation,
    star_track,
    tracking_attitude,
)
from polarcheck.times import add_seconds
from polarcheck.vectors import Array, azalt_from_direction, direction_from_azalt, tangent_basis, unit, wrap

__all__ = [
    "Cause",
    "Drift",
    "DriftRates",
    "Rate",
    "drift_in_attitudes",
    "drift_in_camera",
    "drift_notices",
    "moments_over",
    "predict_drift",
    "require_up",
    "steady_rate",
    "tracking_rate",
]

Rate = Literal["sidereal", "king", "solar", "lunar"]
Cause = Literal["azimuth", "altitude", "refraction", "rate"]

_SOLAR_DAY_S = 86400.0
# mean motion in longitude; Meeus, Astronomical Algorithms, ch. 47 (from memory)
_MOON_DEG_PER_DAY = 13.17639648
_LOWEST_DEG = 0.0


@dataclass(frozen=True, slots=True)
class DriftRates:
    """Rates at the start.

    Attributes
    ----------
    east_arcsec_per_min, north_arcsec_per_min : float
        Of the drift, along ICRS east and north, on the sky. [arcsec/min]
    rotation_arcsec_per_min : float
        Of the field rotation, north through east. [arcsec/min]
    """

    east_arcsec_per_min: float
    north_arcsec_per_min: float
    rotation_arcsec_per_min: float


@dataclass(frozen=True, slots=True, repr=False)
class Drift(WithDict, WithTable, WithPlot):
    """The way of a target in the camera.

    Attributes
    ----------
    seconds : ndarray, shape (n,)
        Since the start. [s]
    east_arcsec, north_arcsec : ndarray, shape (n,)
        Star in the camera minus its place at the start, along ICRS east and north, on the sky. [arcsec]
    rotation_arcsec : ndarray, shape (n,)
        Mean rotation of the field, north through east positive. [arcsec]
    altitude_deg : ndarray, shape (n,)
        Observed altitude of the target. [deg]
    rates : DriftRates
        At the start.
    causes : dict
        For each cause the parts of east, north and rotation, shape (n, 3), which add up to the whole. "refraction"
        is what a mount on the pole would show at the sidereal rate. [arcsec]
    sigma_arcsec : ndarray, shape (n, 3), or None
        Standard errors of east, north and rotation by the axis' covariance; None without one. [arcsec]
    rates_sigma : DriftRates or None
        The same of the rates. [arcsec/min]
    """

    seconds: Array
    east_arcsec: Array
    north_arcsec: Array
    rotation_arcsec: Array
    altitude_deg: Array
    rates: DriftRates
    causes: dict[Cause, Array]
    sigma_arcsec: Array | None = None
    rates_sigma: DriftRates | None = None

    def __repr__(self) -> str:
        east, north, turn = (part[-1] for part in (self.east_arcsec, self.north_arcsec, self.rotation_arcsec))
        return f"Drift(after {self.seconds[-1]:g} s: east {east:+.2f}, north {north:+.2f}, rotation {turn:+.1f} arcsec)"


def predict_drift(
    alignment: Alignment,
    target_deg: tuple[float, float],
    utc: tuple[float, float],
    seconds: npt.ArrayLike,
    rate: Rate = "sidereal",
) -> Drift:
    """Predict how a target drifts while the mount tracks it unguided.

    Parameters
    ----------
    alignment : Alignment
        Sky and axis, whose covariance gives the standard errors; the causes are parted from its pole.
    target_deg : tuple of float
        ICRS right ascension and declination. [deg]
    utc : tuple of float
        Start, two-part Julian date.
    seconds : array_like, shape (n,)
        Moments since the start, not negative. [s]
    rate : {"sidereal", "king", "solar", "lunar"}
        At which the mount turns; see `tracking_rate`.

    Returns
    -------
    Drift

    Raises
    ------
    InputError
        The target is below the horizon at the start.
    """
    axis, pole, sky = alignment.axis, alignment.pole, alignment.sky
    times = np.asarray(seconds, dtype=float)
    begin = add_seconds(utc, -1.0)  # rates are taken from a second before to a second after
    track = star_track(field_points(target_deg, np.zeros((0, 2))), begin, float(times.max()) + 2.0, sky)
    start = track.at(np.array([1.0]))[0]
    require_up(start[0])
    points = track.at(times + 1.0)
    turn = tracking_rate(rate, track, pole.direction, sky.is_north, 1.0)
    around = np.array([-1.0, 1.0])
    beside = track.at(around + 1.0)

    def drift_of(a: Array) -> tuple[Array, Array]:
        ends = drift_in_camera(beside, start, a, turn * around, sky.is_north)
        slopes = (ends[1] - ends[0]) / 2 * 60
        return drift_in_camera(points, start, a, turn * times, sky.is_north), slopes

    whole, slopes = drift_of(axis)
    spread, slope_spread = _spread(drift_of, axis, alignment.covariance)
    return Drift(
        seconds=times,
        east_arcsec=whole[:, 0],
        north_arcsec=whole[:, 1],
        rotation_arcsec=whole[:, 2],
        altitude_deg=np.arcsin(points[:, 0, 2]) / DEGREE,
        rates=DriftRates(*(float(slope) for slope in slopes)),
        causes=_causes(points, start, axis, pole, turn, times, sky.is_north),
        sigma_arcsec=spread,
        rates_sigma=None if slope_spread is None else DriftRates(*(float(sigma) for sigma in slope_spread)),
    )


def drift_notices(drift: Drift) -> tuple[Notice, ...]:
    """Warn of a target that sets while it drifts."""
    down = np.flatnonzero(drift.altitude_deg < _LOWEST_DEG)
    if not len(down):
        return ()
    i = int(down[0])
    after = np.interp(_LOWEST_DEG, drift.altitude_deg[[i, i - 1]], drift.seconds[[i, i - 1]])
    said = (
        f"The target sets {after / 60:.0f} min after the start: what the drift says of later moments nobody will see, and "
        "refraction so low is not known."
    )
    return (Notice("target-sets", said, ("utc",)),)


def _spread(
    drift_of: Callable[[Array], tuple[Array, Array]], axis: Array, covariance: Array | None
) -> tuple[Array | None, Array | None]:
    """Standard errors of drift and rates: the axis is moved by one sigma along both axes of its error ellipse."""
    if covariance is None:
        return None, None
    values, vectors = np.linalg.eigh(covariance)
    steps = tangent_basis(axis) @ vectors * np.sqrt(np.maximum(values, 0.0))
    pairs = [(drift_of(unit(axis + step)), drift_of(unit(axis - step))) for step in steps.T]
    drifts = [(plus[0] - minus[0]) / 2 for plus, minus in pairs]
    slopes = [(plus[1] - minus[1]) / 2 for plus, minus in pairs]
    return np.hypot(*drifts), np.hypot(*slopes)


def moments_over(duration_s: float) -> Array:
    """Return moments from 0 to a duration, evenly, some tens of them, shape (n,). [s]"""
    return np.linspace(0.0, duration_s, max(3, min(121, int(duration_s // 30) + 1)))


def require_up(sight: Array) -> None:
    """Raise an `InputError` if a line of sight, East-North-Up, is below the horizon."""
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(sight))
    if altitude < _LOWEST_DEG:
        raise InputError(
            f"the target is below the horizon at that time (azimuth {azimuth:.0f} deg, altitude {altitude:.0f} deg); "
            "check target, time and site",
            ["target_deg", "utc", "site"],
        )


def drift_in_camera(points: Array, start: Array, axis: Array, turns: Array, north: bool) -> Array:
    """Return drift and field rotation of a target.

    Parameters
    ----------
    points : ndarray, shape (n, 5, 3)
        The first five of `field_points` as observed at `n` moments.
    start : ndarray, shape (5, 3)
        The same at the start.
    axis : ndarray, shape (3,)
        The mount's elevated end.
    turns : ndarray, shape (n,)
        How far the mount has turned westward since the start. [rad]
    north : bool
        Whether the elevated end points to the north celestial pole.

    Returns
    -------
    ndarray, shape (n, 3)
        East, north, and rotation. [arcsec]
    """
    return drift_in_attitudes(points, start, tracking_attitude(axis, turns, north))


def drift_in_attitudes(points: Array, start: Array, attitudes: Array) -> Array:
    """Return the same for a camera however it moved.

    Parameters
    ----------
    points, start
        As for `drift_in_camera`.
    attitudes : ndarray, shape (n, 3, 3)
        Carry directions fixed in the camera from where they were at the start to where they are then.

    Returns
    -------
    ndarray, shape (n, 3)
        East, north, and rotation. [arcsec]
    """
    frame = field_frame(start)
    seen = frame.place(points @ attitudes)
    rotation = wrap(field_rotation(*_derivatives(seen)) - field_rotation(*_derivatives(frame.place(start))))
    return np.concatenate([seen[:, 0], rotation[:, None]], axis=-1) / ARCSEC


def _derivatives(seen: Array) -> tuple[Array, Array]:
    return seen[..., 1, :] - seen[..., 2, :], seen[..., 3, :] - seen[..., 4, :]


def tracking_rate(rate: Rate, track: Track, pole: Array, north: bool, start_s: float) -> float:
    """Return how fast a mount turns westward about its axis. [rad/s]

    Parameters
    ----------
    rate : {"sidereal", "king", "solar", "lunar"}
        The mean sidereal rate; the rate at which the refracted target turns about the pole (King); one turn in a
        mean solar day; the Moon's mean rate.
    track : Track
        Its first star is the target.
    pole : ndarray, shape (3,)
        Elevated pole that King's rate refers to.
    north : bool
        Whether that is the north celestial pole.
    start_s : float
        When King's rate is taken, since the track's own start. [s]

    References
    ----------
    .. [1] E. S. King, A Manual of Celestial Photography (1931): the rate that follows a refracted star (from memory;
       checked against the closed formula).
    """
    if rate == "king":
        first = max(start_s - 1.0, 0.0)
        sides = track.at(np.array([first, first + 2.0]))[:, 0]
        return _angle_about(pole, sides[0], sides[1], north) / 2.0
    return steady_rate(rate)


def steady_rate(rate: Rate) -> float:
    """Return a rate that does not depend on the target: sidereal (King's too, about), solar or lunar. [rad/s]"""
    if rate == "solar":
        return 2 * np.pi / _SOLAR_DAY_S
    if rate == "lunar":
        return SIDEREAL_RATE - _MOON_DEG_PER_DAY * DEGREE / _SOLAR_DAY_S
    return SIDEREAL_RATE


def _angle_about(pole: Array, first: Array, second: Array, north: bool) -> float:
    """Westward angle from one direction to another, about a pole."""
    a, b = np.cross(pole, first), np.cross(pole, second)
    angle = float(np.arctan2(pole @ np.cross(a, b), a @ b))
    return -angle if north else angle


def _causes(
    points: Array, start: Array, axis: Array, pole: Pole, turn: float, times: Array, north: bool
) -> dict[Cause, Array]:
    """Part the drift by cause; azimuth and altitude each take the mean of being first and last."""
    azimuth, altitude = (float(angle) for angle in azalt_from_direction(axis))
    sidereal = SIDEREAL_RATE * times

    def drift(az: float, alt: float) -> Array:
        return drift_in_camera(points, start, direction_from_azalt(az, alt), sidereal, north)

    pole_az, pole_alt = pole.azimuth_deg * DEGREE, pole.altitude_deg * DEGREE
    both, none = drift(azimuth, altitude), drift(pole_az, pole_alt)
    only_az, only_alt = drift(azimuth, pole_alt), drift(pole_az, altitude)
    whole = drift_in_camera(points, start, axis, turn * times, north)
    return {
        "azimuth": (only_az - none + both - only_alt) / 2,
        "altitude": (only_alt - none + both - only_az) / 2,
        "refraction": none,
        "rate": whole - both,
    }
