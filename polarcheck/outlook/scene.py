"""A target over a sensor: where its stars go while the mount carries the camera, guided or not."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.errors import InputError
from polarcheck.outlook.drift import Rate, require_up, tracking_rate
from polarcheck.outlook.fast_sky import FastSky
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.sensor_stars import (
    ALL_HEIGHTS,
    LOWEST,
    field_radius,
    low_places,
    low_reach,
    sensor_border,
)
from polarcheck.sky import (
    AIRLESS,
    Pole,
    Sky,
    Track,
    field_frame,
    field_points,
    guided_attitude,
    star_track,
    tracking_attitude,
)
from polarcheck.vectors import Array

__all__ = [
    "LONGEST_S",
    "SHORTEST_S",
    "Scene",
    "is_up",
    "largest_motion",
    "motion",
    "periodic_motion",
    "set_scene",
]

Ints = npt.NDArray[np.int_]

SHORTEST_S = 1.0
"""Where looking for the longest exposure begins. [s]"""

LONGEST_S = 6 * 3600.0
"""How far exposures are looked ahead. [s]"""

_LOWEST = float(np.sin(LOWEST))  # below it a target counts as set, and no star counts
_TARGET_POINTS = 5  # the target and its four derivative points come first in a track


@dataclass(frozen=True, slots=True)
class Scene:
    """A target over a sensor at a site, for one start: all that does not depend on the axis.

    Attributes
    ----------
    track : Track
        The target, its four derivative points, the places of the sensor, the guide star.
    offsets : ndarray, shape (k, 2)
        Of the places on the sensor: gnomonic, east and north; the first nine are `Optics.sensor_offsets`. [rad]
    chosen : ndarray of int, shape (m,)
        Those of them that are looked at.
    end_s : float
        How long the target can be exposed: until it sets, or 6 h. [s]
    ends_by : {"sets", "6 h"}
        Which of them.
    optics : Optics
    guided : bool
    turn : float
        Rate at which the unguided mount turns. [rad/s]
    """

    track: Track
    offsets: Array
    chosen: Ints
    end_s: float
    ends_by: Literal["sets", "6 h"]
    optics: Optics
    guided: bool
    turn: float = SIDEREAL_RATE

    def stars(self, seconds: Array) -> Array:
        """Observed directions at moments since the start, shape (n, 5 + m + 1, 3): target, chosen places, guide."""
        every = self.track.at(seconds)
        places = every[:, _TARGET_POINTS:-1][:, self.chosen]
        return np.concatenate([every[:, :_TARGET_POINTS], places, every[:, -1:]], axis=1)

    def only(self, places: Ints) -> Scene:
        """Return the same with some of the places that are looked at, by index."""
        return replace(self, chosen=self.chosen[places])


def set_scene(
    sky: Sky,
    pole: Pole,
    target_deg: tuple[float, float],
    utc: tuple[float, float],
    optics: Optics,
    *,
    guided: bool,
    rate: Rate = "sidereal",
) -> Scene:
    """Follow a target and the sensor's stars over the sky for as long as they may be exposed.

    Parameters
    ----------
    sky : Sky
        Where, and the air there.
    pole : Pole
        Elevated pole that King's rate refers to.
    target_deg : tuple of float
        ICRS right ascension and declination. [deg]
    utc : tuple of float
        Start, two-part Julian date.
    optics : Optics
    guided : bool
        Whether a guider holds the guide star still.
    rate : {"sidereal", "king", "solar", "lunar"}
        At which the unguided mount turns.

    Returns
    -------
    Scene

    Raises
    ------
    InputError
        The target is below the horizon.
    """
    offsets = _places(sky, target_deg, utc, optics)
    guide = np.array([optics.guide_offset_deg]) * DEGREE
    if float(np.hypot(*optics.guide_offset_deg)) >= 45:
        raise InputError(
            "the guide star is 45 deg or more from the target; give the offset in degrees",
            ["guide_offset_deg"],
        )
    points = field_points(target_deg, np.concatenate([offsets, guide]))
    track = star_track(points, utc, LONGEST_S + 40.0, sky)
    require_up(track.at(np.zeros(1))[0, 0])
    end, ends_by = _available(track)
    turn = tracking_rate(rate, track, pole.direction, track.north, 0.0)
    return Scene(track, offsets, np.arange(len(offsets)), end, ends_by, optics, guided, turn)


def _places(sky: Sky, target_deg: tuple[float, float], utc: tuple[float, float], optics: Optics) -> Array:
    """Offsets of the sensor's edge, and of what it sees low over the horizon at the start, shape (k, 2). [rad]"""
    border = sensor_border(optics)
    points = field_points(target_deg, np.zeros((0, 2)))
    airless = Sky(sky.site, AIRLESS).observed(points[None], np.array([utc]))
    frame = field_frame(airless[0])
    if np.arcsin(frame.sight[2]) - field_radius(optics) >= low_reach(optics):
        return border
    sight, east, north = frame.sight[None], frame.east[None], frame.north[None]
    lines, inside = low_places(optics, FastSky(sky), ALL_HEIGHTS, (sight, east, north))
    return np.concatenate([border, lines[inside]])


def _available(track: Track) -> tuple[float, Literal["sets", "6 h"]]:
    """Time until the target sinks through the lowest altitude, at most 6 h."""
    longest = LONGEST_S
    seconds = np.linspace(0.0, longest, int(longest // 30) + 2)
    height = track.at(seconds)[:, 0, 2] - _LOWEST
    sinking = np.flatnonzero((height[1:] < 0) & (height[1:] < height[:-1]))
    if not len(sinking):
        return longest, "6 h"
    i = int(sinking[0])
    if height[i] <= 0:
        return float(seconds[i]), "sets"
    part = height[i] / (height[i] - height[i + 1])
    return float(seconds[i] + part * (seconds[i + 1] - seconds[i])), "sets"


def is_up(scene: Scene) -> npt.NDArray[np.bool_]:
    """Return which places that are looked at stand above an altitude of 5 deg at the start, shape (k,)."""
    return np.asarray(scene.stars(np.zeros(1))[0, _TARGET_POINTS:-1, 2] >= _LOWEST)


def motion(scene: Scene, axes: Array, seconds: Array) -> Array:
    """Return how far stars have moved on the sensor since the start.

    Parameters
    ----------
    scene : Scene
    axes : ndarray, shape (m, 3)
        Elevated ends of mounts' axes.
    seconds : ndarray, shape (n,)
        Since the start. [s]

    Returns
    -------
    ndarray, shape (m, n, k, 2)
        East and north for the places that are looked at, periodic error aside. [arcsec at the centre]
    """
    start = scene.stars(np.zeros(1))[0]
    frame = field_frame(start[:_TARGET_POINTS])
    stars = scene.stars(seconds)
    if scene.guided:
        attitude = guided_attitude(stars[None, :, -1], start[-1], start[0], axes[:, None])
    else:
        attitude = tracking_attitude(axes[:, None], scene.turn * seconds, scene.track.north)
    on_sensor = slice(_TARGET_POINTS, -1)
    return np.asarray((frame.place(stars[:, on_sensor] @ attitude) - frame.place(start[on_sensor])) / ARCSEC)


def largest_motion(scene: Scene, axes: Array, seconds: Array) -> Array:
    """Return the motion of each place, periodic error at its worst phase, shape (m, n, k). [arcsec]

    It is 0 for a star below an altitude of 5 deg, then or at the start: nobody images there.
    """
    moved = motion(scene, axes, seconds)
    swing = periodic_motion(scene, axes, seconds)
    if swing is None:
        size = np.hypot(moved[..., 0], moved[..., 1])
    else:
        ends = [np.hypot(*np.moveaxis(moved + sign * swing, -1, 0)) for sign in (1, -1)]
        size = np.maximum(*ends)
    # a guide star out of reach of both turns is a motion beyond any tolerance
    size = np.where(np.isfinite(size), size, np.inf)
    height = scene.stars(np.concatenate([np.zeros(1), seconds]))[:, _TARGET_POINTS:-1, 2]
    return np.asarray(np.where((height[0] >= _LOWEST) & (height[1:] >= _LOWEST), size, 0.0))


def periodic_motion(scene: Scene, axes: Array, seconds: Array) -> Array | None:
    """Largest displacement by periodic error, either way, shape (m, n, k, 2) or one that broadcasts. [arcsec]"""
    optics = scene.optics
    if scene.guided or not optics.periodic_error_arcsec or not optics.worm_period_s:
        return None
    start = scene.stars(np.zeros(1))[0]
    frame = field_frame(start[:_TARGET_POINTS])
    points = start[_TARGET_POINTS:-1]
    # half its height times a sine: over some time it changes by at most this much, at the worst phase
    change = optics.periodic_error_arcsec * np.abs(np.sin(np.pi * seconds / optics.worm_period_s))
    step = 1e-6
    shifted = points @ tracking_attitude(axes, step, scene.track.north)
    slope = (frame.place(shifted) - frame.place(points)) / step
    return np.asarray(change[None, :, None, None] * slope[:, None])
