"""A target over a sensor: where its stars go while the mount carries the camera, guided or not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.errors import InputError
from polarcheck.outlook.drift import Rate, require_up, tracking_rate
from polarcheck.outlook.optics import Optics
from polarcheck.sky import (
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
    "Scene",
    "largest_motion",
    "motion",
    "periodic_motion",
    "scene_from",
    "scene_points",
    "set_scene",
]

LONGEST_S = 6 * 3600.0
"""How far exposures are looked ahead. [s]"""

_LOWEST = float(np.sin(5 * DEGREE))  # below an observed altitude of 5 deg a target counts as set
_TARGET_POINTS = 5  # the target and its four derivative points come first in a track


@dataclass(frozen=True, slots=True)
class Scene:
    """A target over a sensor at a site, for one start: all that does not depend on the axis.

    Attributes
    ----------
    track : Track
        The target, its four derivative points, the nine points of the sensor, the guide star.
    start_s : float
        Start, since the track's own. [s]
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
    start_s: float
    end_s: float
    ends_by: Literal["sets", "6 h"]
    optics: Optics
    guided: bool
    turn: float = SIDEREAL_RATE

    def stars(self, seconds: Array) -> Array:
        """Observed directions of all points at moments since the start, shape (m, 15, 3)."""
        return self.track.at(self.start_s + seconds)


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
    track = star_track(scene_points(target_deg, optics), utc, LONGEST_S + 40.0, sky)
    require_up(track.at(np.zeros(1))[0, 0])
    return scene_from(track, 0.0, pole, optics, guided=guided, rate=rate)


def scene_points(target_deg: tuple[float, float], optics: Optics) -> Array:
    """Return the ICRS directions that a scene follows, shape (15, 3)."""
    guide = np.array([optics.guide_offset_deg]) * DEGREE
    if float(np.hypot(*optics.guide_offset_deg)) >= 45:
        raise InputError("the guide star is 45 deg or more from the target; give the offset in degrees")
    return field_points(target_deg, np.concatenate([optics.sensor_offsets, guide]))


def scene_from(
    track: Track, start_s: float, pole: Pole, optics: Optics, *, guided: bool, rate: Rate = "sidereal"
) -> Scene:
    """Return the scene of an exposure that begins some seconds into a track of `scene_points`."""
    end, ends_by = _available(track, start_s)
    turn = tracking_rate(rate, track, pole.direction, track.north, start_s)
    return Scene(track, start_s, end, ends_by, optics, guided, turn)


def _available(track: Track, start_s: float) -> tuple[float, Literal["sets", "6 h"]]:
    """Time until the target sinks through the lowest altitude, at most 6 h."""
    longest = min(LONGEST_S, float(track.seconds[-1]) - start_s)
    seconds = np.linspace(0.0, longest, int(longest // 30) + 2)
    height = track.at(start_s + seconds)[:, 0, 2] - _LOWEST
    sinking = np.flatnonzero((height[1:] < 0) & (height[1:] < height[:-1]))
    if not len(sinking):
        return longest, "6 h"
    i = int(sinking[0])
    if height[i] <= 0:
        return float(seconds[i]), "sets"
    part = height[i] / (height[i] - height[i + 1])
    return float(seconds[i] + part * (seconds[i + 1] - seconds[i])), "sets"


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
    ndarray, shape (m, n, 9, 2)
        East and north for the nine points of the sensor, periodic error aside. [arcsec at the centre]
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
    """Return the largest motion over the sensor, periodic error at its worst phase, shape (m, n, 9). [arcsec]"""
    moved = motion(scene, axes, seconds)
    swing = periodic_motion(scene, axes, seconds)
    if swing is None:
        size = np.hypot(moved[..., 0], moved[..., 1])
    else:
        ends = [np.hypot(*np.moveaxis(moved + sign * swing, -1, 0)) for sign in (1, -1)]
        size = np.maximum(*ends)
    # a guide star out of reach of both turns is a motion beyond any tolerance
    return np.asarray(np.where(np.isfinite(size), size, np.inf))


def periodic_motion(scene: Scene, axes: Array, seconds: Array) -> Array | None:
    """Largest displacement by periodic error, either way, shape (m, n, 9, 2) or one that broadcasts. [arcsec]"""
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
