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

__all__ = ["LOWEST", "field_radius", "is_narrow", "low_places", "sensor_border"]

LOWEST = 5 * DEGREE
"""Observed altitude below which no star counts. [rad]"""

_LINES = (
    np.array([5.0005, 5.3, 5.8, 6.6, 8.0, 10.5, 14.0]) * DEGREE
)  # observed altitudes, denser where air changes fast
_COARSE, _ALONG = 41, 9  # azimuths that look for a line's part on the sensor, and stars on that part
_NARROW = 5 * DEGREE  # half a diagonal up to which nine places tell all
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


def field_radius(optics: Optics) -> float:
    """Return the angle from the centre to a corner. [rad]"""
    return float(np.arctan(np.hypot(*optics.sensor_offsets[1])))


def low_places(
    optics: Optics, fast: FastSky, star: Array, east: Array, north: Array
) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return places on lines of low altitude, where the field of view reaches them.

    Parameters
    ----------
    optics : Optics
    fast : FastSky
        The sky over the site.
    star, east, north : ndarray, shape (n, 3)
        Field centres without air, and east and north there. East-North-Up.

    Returns
    -------
    offsets : ndarray, shape (n, k, 2)
        Gnomonic, east and north. [rad]
    inside : ndarray of bool, shape (n, k)
        Whether they lie on the sensor.
    """
    window = min(1.05 * field_radius(optics) / float(np.cos(_LINES[-1])), np.pi / 2)
    azimuth, _ = azalt_from_direction(star)
    coarse = azimuth[:, None, None] + window * np.linspace(-1, 1, _COARSE) + np.zeros((1, len(_LINES), 1))
    frame = (star, east, north)
    inside = optics.contains(_offsets(fast, coarse, frame))
    some = inside.any(axis=-1)
    step = 2 * window / (_COARSE - 1)
    first = np.take_along_axis(coarse, inside.argmax(axis=-1)[..., None], axis=-1) - step
    last = (
        np.take_along_axis(coarse, _COARSE - 1 - inside[..., ::-1].argmax(axis=-1)[..., None], axis=-1) + step
    )
    offsets = _offsets(fast, first + (last - first) * np.linspace(0, 1, _ALONG), frame)
    on_sensor = np.asarray(optics.contains(offsets) * some[..., None], dtype=bool)
    count = len(star)
    return offsets.reshape(count, -1, 2), on_sensor.reshape(count, -1)


def _offsets(fast: FastSky, azimuths: Array, frame: tuple[Array, Array, Array]) -> Array:
    """Gnomonic offsets, shape (n, lines, m, 2), of directions seen at azimuths, (n, lines, m), on the lines."""
    seen = direction_from_azalt(azimuths, np.broadcast_to(_LINES[:, None], azimuths.shape))
    airless = fast.unlifted(seen)
    depth, across, up = (np.einsum("nlmi,ni->nlm", airless, v) for v in frame)
    with np.errstate(divide="ignore", invalid="ignore"):
        ahead = np.where(depth > 0.02, depth, np.nan)  # what is beside or behind the camera is nowhere
        return np.stack([across / ahead, up / ahead], axis=-1)
