"""How far off each way of setting up usually leaves the axis, and whether knobs and frames can take it from there.

The errors are common practice, without a source: what careful people reach with ordinary gear.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from polarcheck.constants import DEGREE
from polarcheck.rig import Rig

__all__ = [
    "COMPASS_DEG",
    "LATITUDE_SCALE_DEG",
    "Expectation",
    "Way",
    "expectations",
    "level_crosstalk_arcmin",
]

Way = Literal["compass", "shadow", "sighted", "finder"]

LATITUDE_SCALE_DEG = 1.0
"""Usual error of a mount's latitude scale, base level. [deg]"""

COMPASS_DEG = 3.0
"""Usual error of a compass held beside a mount, a step away from iron. [deg]"""

_SHADOW_DEG = 1.0
_SIGHTED_DEG = 0.7  # the pole star sighted along the bare axis
_FINDER_DEG = 0.1  # set in a polar finder by its clock position


@dataclass(frozen=True, slots=True)
class Expectation:
    """How far off the axis usually is after one way of setting up.

    Attributes
    ----------
    way : {"compass", "shadow", "sighted", "finder"}
        Latitude scale with compass; latitude scale with the Sun's shadow; the pole star sighted along the axis; the pole
        star set in a polar finder.
    azimuth_deg, altitude_deg : float
        Usual error of each; azimuth about the vertical. [deg]
    total_arcmin : float
        On the sky. [arcmin]
    knobs_suffice : bool or None
        Whether twice that lies within half the travel of both knobs, centred first; None where the rig does not say.
    pole_in_frame : bool or None
        Whether a frame along the axis still shows the pole; None where the field is not known.
    """

    way: Way
    azimuth_deg: float
    altitude_deg: float
    total_arcmin: float
    knobs_suffice: bool | None
    pole_in_frame: bool | None


def expectations(
    pole_altitude_deg: float, model_sigma_deg: float | None, rig: Rig | None
) -> tuple[Expectation, ...]:
    """Return what each way of setting up usually leaves.

    Parameters
    ----------
    pole_altitude_deg : float
        [deg]
    model_sigma_deg : float or None
        Uncertainty of the magnetic declination; None where it is unknown, then no compass serves. [deg]
    rig : Rig or None
        Its knobs' travel and its field, where stated.

    Returns
    -------
    tuple of Expectation
        From the roughest on.
    """
    ways: list[tuple[Way, float, float]] = []
    if model_sigma_deg is not None:
        ways.append(("compass", math.hypot(COMPASS_DEG, model_sigma_deg), LATITUDE_SCALE_DEG))
    shrink = max(math.cos(pole_altitude_deg * DEGREE), 1e-3)
    ways += [
        ("shadow", _SHADOW_DEG, LATITUDE_SCALE_DEG),
        ("sighted", min(_SIGHTED_DEG / shrink, 180.0), _SIGHTED_DEG),
        ("finder", min(_FINDER_DEG / shrink, 180.0), _FINDER_DEG),
    ]
    return tuple(_expected(way, azimuth, altitude, shrink, rig) for way, azimuth, altitude in ways)


def level_crosstalk_arcmin(tilt_deg: float, move_arcmin: float) -> float:
    """Return by how much, at most, an azimuth move changes the altitude on a base out of level. [arcmin]

    Parameters
    ----------
    tilt_deg : float
        Of the base. [deg]
    move_arcmin : float
        Of the azimuth knob. [arcmin]
    """
    return abs(move_arcmin) * math.sin(abs(tilt_deg) * DEGREE)


def _expected(way: Way, azimuth: float, altitude: float, shrink: float, rig: Rig | None) -> Expectation:
    total = 60 * math.hypot(azimuth * shrink, altitude)
    return Expectation(
        way, azimuth, altitude, total, _knobs_suffice(azimuth, altitude, rig), _in_frame(total, rig)
    )


def _knobs_suffice(azimuth: float, altitude: float, rig: Rig | None) -> bool | None:
    knobs = (rig.mount.azimuth, rig.mount.altitude) if rig else (None, None)
    travels = [knob.travel_arcmin if knob else None for knob in knobs]
    enough = [
        None if travel is None else 2 * 60 * error <= travel / 2
        for travel, error in zip(travels, (azimuth, altitude), strict=True)
    ]
    if False in enough:
        return False
    return None if None in enough else True


def _in_frame(total_arcmin: float, rig: Rig | None) -> bool | None:
    scale = rig.pixel_scale_arcsec if rig else None
    if rig is None or scale is None or rig.camera.width_px is None or rig.camera.height_px is None:
        return None
    return total_arcmin <= min(rig.camera.width_px, rig.camera.height_px) * scale / 60 / 2
