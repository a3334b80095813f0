"""Which places of a sensor tell how far any of its stars moves: its edge, and what stands low over the horizon.

Over a field of view the motion grows outwards, so its edge has the largest; but where the field reaches down to the
horizon, refraction changes so fast that stars between the corners may move most. Those below the lowest altitude do
not count: there is ground, or air that nobody images through.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.constants import DEGREE
from polarcheck.outlook.fast_sky import FastSky
from polarcheck.outlook.optics import Optics
from polarcheck.vectors import Array, azalt_from_direction, direction_from_azalt

__all__ = ["ALL_HEIGHTS", "LOWEST", "field_radius", "heights_for", "low_places", "low_reach", "sensor_border"]

Bools = npt.NDArray[np.bool_]

LOWEST = 5 * DEGREE
"""Observed altitude below which no star counts. [rad]"""

_HIGHEST = 9 * DEGREE  # over the lowest altitude; above, the air changes slowly
_ABOUT_TO_SET = 0.0005 * DEGREE
ALL_HEIGHTS: Array = np.arange(_ABOUT_TO_SET, _HIGHEST, 0.06 * DEGREE)
"""Over the lowest altitude, lines on which stars are looked at for any tolerance. [rad]

The star that moves most is often the one that is about to set when it has moved so far.
"""

# for one tolerance; twice as many halve what is passed over, a few per cent, and take twice the time
_LINES = 20
_SINKS = 0.04 * DEGREE  # how far such a star sinks for each arcsec that it moves, at most

# azimuths that look for a line's part on the sensor, and stars on that part: more find the same, and take longer
_COARSE, _ALONG = 81, 5
_HALVED = 6  # steps that find the end of that part
_NARROW = 5 * DEGREE  # half a diagonal up to which nine places tell all
_LOW_REACH = 16 * DEGREE  # of a wide field
_ALONG_SIDE = (-0.25, 0.25)
_QUARTERS = np.array(
    [[x, side] for side in (-0.5, 0.5) for x in _ALONG_SIDE]
    + [[side, y] for side in (-0.5, 0.5) for y in _ALONG_SIDE]
)


def sensor_border(optics: Optics) -> Array:
    """Return offsets of the centre and of the sensor's edge: corners and middles, of a wide field quarters too.

    Returns
    -------
    ndarray, shape (k, 2)
        Gnomonic, east and north; the first nine are `Optics.sensor_offsets`. [rad]
    """
    nine = optics.sensor_offsets
    return nine if is_narrow(optics) else np.concatenate([nine, optics.offsets_of(_QUARTERS)])


def is_narrow(optics: Optics) -> bool:
    """Whether a field is so small that all in it moves alike but for a turn and a stretch."""
    return field_radius(optics) < _NARROW


def low_reach(optics: Optics) -> float:
    """Return the altitude down to which a field must reach for stars on lines of low altitude to tell more. [rad]"""
    return LOWEST if is_narrow(optics) else _LOW_REACH


def heights_for(tolerance_arcsec: float) -> Array:
    """Return heights of lines over the lowest altitude, shape (20,), that tell when stars have moved so far. [rad]"""
    highest = min(_SINKS * tolerance_arcsec, _HIGHEST)
    return np.asarray(_ABOUT_TO_SET + highest * np.arange(_LINES) / _LINES)


def field_radius(optics: Optics) -> float:
    """Return the angle from the centre to a corner. [rad]"""
    return float(np.arctan(np.hypot(*optics.sensor_offsets[1])))


def low_places(
    optics: Optics, fast: FastSky, heights: Array, frame: tuple[Array, Array, Array]
) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return places on lines of low altitude, where the field of view reaches them.

    Parameters
    ----------
    optics : Optics
    fast : FastSky
        The sky over the site.
    heights : ndarray, shape (m,)
        Of the lines over the lowest altitude, growing. [rad]
    frame : tuple of three ndarray, shape (n, 3)
        Field centres without air, and east and north there. East-North-Up.

    Returns
    -------
    offsets : ndarray, shape (n, k, 2)
        Gnomonic, east and north. [rad]
    inside : ndarray of bool, shape (n, k)
        Whether they lie on the sensor.
    """
    lines = LOWEST + heights
    window = min(1.05 * field_radius(optics) / float(np.cos(lines[-1])), np.pi / 2)
    azimuth, _ = azalt_from_direction(frame[0])
    coarse = azimuth[:, None, None] + window * np.linspace(-1, 1, _COARSE) + np.zeros((1, len(lines), 1))

    def contains(azimuths: Array) -> Bools:
        return np.asarray(optics.contains(_offsets(fast, lines, azimuths, frame)), dtype=bool)

    inside = contains(coarse)
    some: Bools = np.asarray(inside.any(axis=-1), dtype=bool)
    first = np.take_along_axis(coarse, inside.argmax(axis=-1)[..., None], axis=-1)
    last = np.take_along_axis(coarse, _COARSE - 1 - inside[..., ::-1].argmax(axis=-1)[..., None], axis=-1)
    step = np.full_like(first, 2 * window / (_COARSE - 1))
    for _ in range(_HALVED):  # out to where the line leaves the sensor: there the motion is largest
        step = step / 2
        first = np.where(contains(first - step), first - step, first)
        last = np.where(contains(last + step), last + step, last)
    offsets = _offsets(fast, lines, first + (last - first) * np.linspace(0, 1, _ALONG), frame)
    on_sensor = np.asarray(optics.contains(offsets) * some[..., None], dtype=bool)
    count = len(azimuth)
    return offsets.reshape(count, -1, 2), on_sensor.reshape(count, -1)


def _offsets(fast: FastSky, lines: Array, azimuths: Array, frame: tuple[Array, Array, Array]) -> Array:
    """Gnomonic offsets, shape (n, lines, m, 2), of directions seen at azimuths, (n, lines, m), on the lines."""
    seen = direction_from_azalt(azimuths, np.broadcast_to(lines[:, None], azimuths.shape))
    airless = fast.unlifted(seen)
    depth, across, up = (np.einsum("nlmi,ni->nlm", airless, v) for v in frame)
    with np.errstate(divide="ignore", invalid="ignore"):
        ahead = np.where(depth > 0.02, depth, np.nan)  # what is beside or behind the camera is nowhere
        return np.stack([across / ahead, up / ahead], axis=-1)
