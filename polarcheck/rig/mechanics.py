"""Arithmetic of adjustment screws and of the field of view."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import InputError

if TYPE_CHECKING:
    from polarcheck.rig.tables import Knob

__all__ = [
    "SMALLEST_TURN",
    "arcmin_from_turns",
    "arcmin_per_turn",
    "field_of_view_deg",
    "screw_travel_mm",
    "smallest_turn",
    "turns_from_arcmin",
]

SMALLEST_TURN = 0.01
"""Turn of a knob that a hand can still make, where the rig file says nothing. [turn] Common practice, no source."""


def smallest_turn(knob: Knob) -> float:
    """Return the smallest turn that a hand can make on a knob.

    Parameters
    ----------
    knob : Knob
        From the rig file.

    Returns
    -------
    float
        As the rig file says, else `SMALLEST_TURN`. [turn]
    """
    return SMALLEST_TURN if knob.smallest_turn is None else knob.smallest_turn


def screw_travel_mm(angle_arcmin: float, lever_mm: float) -> float:
    """Return how far a screw must push the end of a lever to turn it by an angle.

    Parameters
    ----------
    angle_arcmin : float
        From where the screw stands square to the lever; the sign is kept. [arcmin]
    lever_mm : float
        From the pivot to the line of the screw. [mm]

    Returns
    -------
    float
        lever x tan(angle), the leg of a right-angled triangle. [mm]

    Raises
    ------
    InputError
        A right angle or more, which no screw can push.
    """
    if not abs(angle_arcmin) < 90 * 60:
        raise InputError(f"an adjustment screw cannot turn the axis by {angle_arcmin:g} arcmin")
    return lever_mm * math.tan(angle_arcmin * ARCMIN)


def arcmin_from_turns(knob: Knob, turns: float) -> float | None:
    """Return by how much turns of a knob move the axis.

    Parameters
    ----------
    knob : Knob
        From the rig file.
    turns : float
        Net of backlash; the sign is kept. [turn]

    Returns
    -------
    float or None
        turns x ``arcmin_per_turn`` where that was measured, else atan(turns x pitch / lever); None where the
        rig file has neither. Azimuth is counted about the vertical. [arcmin]
    """
    if knob.arcmin_per_turn is not None:
        return turns * knob.arcmin_per_turn
    if knob.thread_pitch_mm is None or knob.lever_mm is None:
        return None
    return math.atan(turns * knob.thread_pitch_mm / knob.lever_mm) / ARCMIN


def arcmin_per_turn(knob: Knob) -> float | None:
    """Return by how much the first turn of a knob moves the axis.

    Parameters
    ----------
    knob : Knob
        From the rig file.

    Returns
    -------
    float or None
        The measured value, else atan(pitch / lever), else None. [arcmin]
    """
    return arcmin_from_turns(knob, 1.0)


def turns_from_arcmin(knob: Knob, angle_arcmin: float) -> float | None:
    """Return the turns of a knob that move the axis by an angle: the inverse of `arcmin_from_turns`.

    Parameters
    ----------
    knob : Knob
        From the rig file.
    angle_arcmin : float
        Azimuth about the vertical, or altitude; the sign is kept. [arcmin]

    Returns
    -------
    float or None
        Without backlash, not rounded: angle / ``arcmin_per_turn`` where that was measured, else
        lever x tan(angle) / pitch; None where the rig file has neither. [turn]

    Raises
    ------
    InputError
        A right angle or more for a screw on a lever.
    """
    if knob.arcmin_per_turn is not None:
        return angle_arcmin / knob.arcmin_per_turn
    if knob.thread_pitch_mm is None or knob.lever_mm is None:
        return None
    return screw_travel_mm(angle_arcmin, knob.lever_mm) / knob.thread_pitch_mm


def field_of_view_deg(pixels: float, pixel_size_um: float, focal_length_mm: float) -> float:
    """Return the angle that a side or a diagonal of the sensor sees, centred, without distortion.

    Parameters
    ----------
    pixels : float
        Length of the side. [px]
    pixel_size_um : float
        Size of a pixel. [um]
    focal_length_mm : float
        Of the telescope or lens, focused at infinity. [mm]

    Returns
    -------
    float
        2 atan(length / (2 focal length)), the gnomonic projection. [deg]
    """
    return 2 * math.atan(pixels * pixel_size_um / 1000 / (2 * focal_length_mm)) / DEGREE
