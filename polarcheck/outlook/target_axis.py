"""The best axis for one target: with refraction it is neither pole.

A star's refraction changes while it crosses the sky, so a mount on the refracted pole still sees it drift. Shifting
the axis a little takes most of that away for one target and one time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from polarcheck.constants import ARCMIN, ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.outlook.drift import require_up
from polarcheck.sky import (
    FieldFrame,
    Pole,
    Sky,
    field_frame,
    field_points,
    star_track,
    tracking_attitude,
)
from polarcheck.vectors import Array, angle_between, azalt_from_direction, tangent_basis

__all__ = ["TargetAim", "aim_for_target"]

_REACH_ARCMIN = 5.0
_GRID = 21
_ZOOM = 0.5  # of the region, step by step: narrow valleys turn
_FINEST_ARCMIN = 1e-4
_EDGE = 0.999


@dataclass(frozen=True, slots=True)
class TargetAim:
    """An aim for one target and one span of time.

    Attributes
    ----------
    pole : Pole
        Where to aim; its kind is "target".
    offset_arcmin : float
        Its distance from the refracted pole. [arcmin]
    drift_arcsec : float
        Largest distance of the target from its start, with the axis there. [arcsec]
    drift_at_refracted_pole_arcsec : float
        The same with the axis on the refracted pole. [arcsec]
    is_at_edge : bool
        Whether it lies at the edge of the region that was searched, so that there is no clear optimum.
    """

    pole: Pole
    offset_arcmin: float
    drift_arcsec: float
    drift_at_refracted_pole_arcsec: float
    is_at_edge: bool


def aim_for_target(
    sky: Sky,
    target_deg: tuple[float, float],
    utc: tuple[float, float],
    duration_s: float,
) -> TargetAim:
    """Find the axis, within 5 arcmin of the refracted pole, that keeps a target's largest drift smallest.

    Parameters
    ----------
    sky : Sky
        Where, and the air there.
    target_deg : tuple of float
        ICRS right ascension and declination. [deg]
    utc : tuple of float
        Start, two-part Julian date.
    duration_s : float
        Span of time, at the sidereal rate. [s]

    Returns
    -------
    TargetAim

    Raises
    ------
    InputError
        The target is below the horizon at the start.
    """
    track = star_track(field_points(target_deg, np.zeros((0, 2))), utc, duration_s, sky)
    start = track.at(np.zeros(1))[0]
    require_up(start[0])
    seconds = np.linspace(0.0, duration_s, max(13, int(duration_s // 300) + 2))
    stars = track.at(seconds)[:, 0]
    refracted = sky.refracted_pole
    frame = field_frame(start)

    def worst(offsets: Array) -> Array:
        axes = _axes(refracted.direction, offsets)
        return _largest_drift(stars, seconds, frame, axes, sky.is_north)

    best = _searched(worst)
    axis = _axes(refracted.direction, best[None])[0]
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(axis))
    return TargetAim(
        pole=Pole("target", azimuth, altitude),
        offset_arcmin=float(angle_between(axis, refracted.direction)) / ARCMIN,
        drift_arcsec=float(worst(best[None])[0]),
        drift_at_refracted_pole_arcsec=float(worst(np.zeros((1, 2)))[0]),
        is_at_edge=bool(np.hypot(*best) > _EDGE * _REACH_ARCMIN),
    )


def _axes(pole: Array, offsets: Array) -> Array:
    """Directions beside a pole, from offsets east and up, shape (m, 2). [arcmin]"""
    radius = np.hypot(offsets[:, 0], offsets[:, 1])[:, None] * ARCMIN
    towards = offsets @ tangent_basis(pole).T * ARCMIN
    return np.asarray(np.cos(radius) * pole + np.sinc(radius / np.pi) * towards)


def _largest_drift(stars: Array, seconds: Array, frame: FieldFrame, axes: Array, north: bool) -> Array:
    """Largest distance from the start, shape (m,). [arcsec]"""
    attitude = tracking_attitude(axes[:, None], SIDEREAL_RATE * seconds, north)
    seen = frame.place((stars[:, None] @ attitude)[..., 0, :])
    return np.asarray(np.hypot(seen[..., 0], seen[..., 1]).max(axis=-1) / ARCSEC)


def _searched(worst: Callable[[Array], Array]) -> Array:
    """Offset with the least largest drift: a grid over the disc, narrowed again and again. [arcmin]"""
    steps = np.linspace(-1.0, 1.0, _GRID)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    centre, half = np.zeros(2), _REACH_ARCMIN
    while half > _FINEST_ARCMIN:
        offsets = np.concatenate([centre[None], centre + half * grid])
        length = np.hypot(offsets[:, 0], offsets[:, 1])
        offsets *= np.minimum(1.0, _REACH_ARCMIN / np.maximum(length, 1e-12))[:, None]
        centre = offsets[int(np.argmin(worst(offsets)))]
        half *= _ZOOM
    return np.asarray(centre)
