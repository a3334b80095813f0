"""A mount that can only track (a stuck clutch, no slewing): what the frames of one field would tell, and how soon."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.axis import Reach, pointing_at
from polarcheck.constants import DEGREE, SIDEREAL_RATE
from polarcheck.errors import GeometryError, Notice
from polarcheck.planning.avoided import kept_away
from polarcheck.planning.expected import ASSUMED_CAMERA, ExpectedSigma, PlanCamera, expected_sigma, with_sag
from polarcheck.planning.sweep_search import SweepWish, distances
from polarcheck.sky import Sky
from polarcheck.vectors import Array, azalt_from_direction

__all__ = ["TrackedPlan", "TrackedRow", "plan_tracked"]

_MINUTES = (15, 30, 60, 90, 120, 180)  # a field must stay in reach for the first; it is chosen by the last
_CADENCE_S = 60.0


@dataclass(frozen=True, slots=True)
class TrackedRow:
    """What is known after so long.

    Attributes
    ----------
    minutes : int
    frames : int
        One a minute.
    expected : ExpectedSigma
    """

    minutes: int
    frames: int
    expected: ExpectedSigma


@dataclass(frozen=True, slots=True)
class TrackedPlan:
    """Where to point once, and how well the axis is known after how long.

    Attributes
    ----------
    sky : Sky
    utc : tuple of float
        Start, two-part Julian date.
    declination_deg : float
        Of the field. [deg]
    axis_angle_deg : float
        At the start, west positive. [deg]
    azimuth_deg, altitude_deg : float
        Of the field at the start. [deg]
    rows : tuple of TrackedRow
        As long as the field stays in reach.
    minutes_to_goal : float or None
        After which sigma on the sky and what sag may do, as a root of squares, come to the goal; 15 at least, None
        beyond half a turn of the sky (12 h) or the reach. [min]
    goal_arcmin : float
        On the sky. [arcmin]
    camera : PlanCamera
    notices : tuple of Notice
    """

    sky: Sky
    utc: tuple[float, float]
    declination_deg: float
    axis_angle_deg: float
    azimuth_deg: float
    altitude_deg: float
    rows: tuple[TrackedRow, ...]
    minutes_to_goal: float | None
    goal_arcmin: float
    camera: PlanCamera
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True)
class _Field:
    distance: float
    start: float
    seconds: float


def plan_tracked(
    sky: Sky,
    utc: tuple[float, float],
    camera: PlanCamera,
    *,
    reach: Reach | None = None,
    declination_deg: float | None = None,
    goal_arcmin: float = 1.0,
) -> TrackedPlan:
    """Plan a measurement by a mount that only tracks.

    Parameters
    ----------
    sky : Sky
    utc : tuple of float
        Start, two-part Julian date.
    camera : PlanCamera
    reach : Reach, optional
        What can be pointed at.
    declination_deg : float, optional
        Where the camera must look; else where it is best: near the pole a short arc goes furthest. [deg]
    goal_arcmin : float
        Sigma on the sky and what sag may do, as a root of squares. [arcmin]

    Returns
    -------
    TrackedPlan

    Raises
    ------
    GeometryError
        No field stays in reach for a quarter of an hour.
    """
    avoided, notices = kept_away(utc, sky)
    reach = reach or Reach()
    reach = replace(reach, avoided=(*reach.avoided, *avoided))
    axis = sky.refracted_pole.direction
    field = _best_field(sky, camera, reach, declination_deg)
    sense = 1.0 if sky.is_north else -1.0
    if field is None:
        raise GeometryError(
            "no field stays in reach for a quarter of an hour: horizon, view or altitudes leave no place; widen them, or "
            "choose another time or declination",
            0.0,
        )
    look = pointing_at(axis, field.distance, field.start, sky.is_north)
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(look))
    rows = tuple(
        TrackedRow(minutes, len(_angles(field, 60.0 * minutes)), _after(sky, camera, field, 60.0 * minutes))
        for minutes in _MINUTES
        if 60 * minutes <= field.seconds
    )
    return TrackedPlan(
        sky=sky,
        utc=utc,
        declination_deg=sense * (90 - field.distance / DEGREE),
        axis_angle_deg=field.start / DEGREE,
        azimuth_deg=azimuth,
        altitude_deg=altitude,
        rows=rows,
        minutes_to_goal=_minutes_to(goal_arcmin, sky, camera, field),
        goal_arcmin=goal_arcmin,
        camera=camera,
        notices=(*notices, *([ASSUMED_CAMERA] if camera.assumed else [])),
    )


def _best_field(sky: Sky, camera: PlanCamera, reach: Reach, declination_deg: float | None) -> _Field | None:
    """The field that tells most by the time it leaves the reach, or by the last row."""
    axis, fields = sky.refracted_pole.direction, []
    first, last = 60.0 * _MINUTES[0], 60.0 * _MINUTES[-1]
    starts = np.arange(-180.0, 180.0, 5.0) * DEGREE
    turns = np.arange(0.0, np.pi + first * SIDEREAL_RATE, first * SIDEREAL_RATE)
    for distance in distances(sky, SweepWish(declination_deg=declination_deg)):
        looks = pointing_at(axis, distance, starts[:, None] + turns, sky.is_north)
        clear = reach.sees(looks) & reach.limits.allows_turn(starts[:, None] + turns)
        lasting = first * (np.cumprod(clear, axis=1).sum(axis=1) - 1)
        best = int(np.argmax(np.minimum(lasting, last) + looks[:, 0, 2]))  # then the highest
        if lasting[best] >= first:
            fields.append(_Field(distance, float(starts[best]), float(lasting[best])))
    return min(
        fields,
        key=lambda field: _noise_after(sky, camera, field, min(field.seconds, last)).total_arcmin,
        default=None,
    )


def _after(sky: Sky, camera: PlanCamera, field: _Field, seconds: float) -> ExpectedSigma:
    """With what sag and creep may do."""
    noise, axis = _noise_after(sky, camera, field, seconds), sky.refracted_pole.direction
    return with_sag(noise, axis, field.distance, _angles(field, seconds), sky.is_north, camera)


def _noise_after(sky: Sky, camera: PlanCamera, field: _Field, seconds: float) -> ExpectedSigma:
    axis = sky.refracted_pole.direction
    return expected_sigma(axis, field.distance, _angles(field, seconds), sky.is_north, camera)


def _angles(field: _Field, seconds: float) -> Array:
    """Axis angles of the frames taken in so long a time. [rad]"""
    times = np.linspace(0.0, seconds, int(seconds // _CADENCE_S) + 1)
    return np.asarray(field.start + times * SIDEREAL_RATE)


def _minutes_to(goal_arcmin: float, sky: Sky, camera: PlanCamera, field: _Field) -> float | None:
    """By halving, to a minute."""
    short, long = 60.0 * _MINUTES[0], field.seconds
    if _after(sky, camera, field, long).with_allowance_arcmin > goal_arcmin:
        return None
    while long - short > 60:
        middle = (short + long) / 2
        enough = _after(sky, camera, field, middle).with_allowance_arcmin <= goal_arcmin
        short, long = (short, middle) if enough else (middle, long)
    return round(long / 60)
