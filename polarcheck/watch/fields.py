"""What a frame shows beside another one, and of an axis that is known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.axis import CameraAxis, FollowedAxis, carry_axis, turn_about
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.frames import SENSOR_WEIGHTS, Frame, sensor_of
from polarcheck.knobs import knob_rotation
from polarcheck.times import seconds_between
from polarcheck.vectors import (
    Array,
    angle_between,
    azalt_from_direction,
    best_rotations,
    tangent_basis,
    unit,
    wrap,
)

__all__ = ["Relation", "Shown", "relation", "shown"]

Relation = Literal["same field", "turned", "elsewhere", "other camera"]

_SAME_FIELD = 0.3  # of the sensor's shorter side, between the centres of frames of one field
_STEP_DEG = 1.0  # about the pole, between positions of a sweep at least
_SLACK_DEG = 1.5  # by which a turn about the mount's axis may miss the pole, however small it is
_SLACK = np.tan(15 * DEGREE)  # and the share of the turn
_ONE_PLACE_DEG = 2.0  # turns within which frames stand at one place
_CLEAR = 5.0  # sigmas by which an axis must have moved
_LEAST_ARCMIN = 0.15  # that count as a move: what settling and sag do between frames


def relation(first: Frame, second: Frame) -> Relation:
    """Tell how the camera went from one frame to another, as the stars have it.

    Parameters
    ----------
    first, second : Frame

    Returns
    -------
    {"same field", "turned", "elsewhere", "other camera"}
        "turned": about an axis near the pole, as right ascension alone turns it.
    """
    if not sensor_of(first).is_like(sensor_of(second)):
        return "other camera"
    if _show_one_field(first, second):
        return "same field"
    turned = best_rotations(unit(first.sky), unit(second.sky)[None], SENSOR_WEIGHTS)[0]
    along = abs(float(turn_about(np.array([0.0, 0.0, 1.0]), turned)))
    whole = float(np.arccos(np.clip((np.trace(turned) - 1) / 2, -1, 1)))
    across = float(np.sqrt(max(whole**2 - along**2, 0.0)))
    if along < _STEP_DEG * DEGREE or across > _SLACK_DEG * DEGREE + _SLACK * along:
        return "elsewhere"
    return "turned"


def _show_one_field(first: Frame, second: Frame) -> bool:
    """Whether centres lie so near to each other; every frame of the night is asked, so chords are compared."""
    side = min(first.width_px, first.height_px) * first.pixel_scale_arcsec * ARCSEC
    chord = first.centre - second.centre
    return float(chord @ chord) < (2 * math.sin(_SAME_FIELD * side / 2)) ** 2


@dataclass(frozen=True, slots=True)
class Shown:
    """What one frame shows of the axis, if declination and camera stayed clamped.

    Attributes
    ----------
    moved_arcmin : tuple of float
        Of the axis since the finding before: azimuth about the vertical, altitude. [arcmin]
    distance_arcmin, sigma_arcmin : float
        How far that is on the sky, and the doubt in it. [arcmin]
    apart_arcmin : float
        At the place of the last used frame the same from where that frame alone had it: there both err alike by what is
        not known of the axis in the camera, so that small moves show. [arcmin]
    apart_sigmas : float
        How clear that is: the roll of a frame is far less sure than its pointing, so it depends on the direction.
    noise : ndarray, shape (2, 2)
        Covariance of it, azimuth times cos altitude and altitude. [arcmin^2]
    total_arcmin : float
        Axis to pole. [arcmin]
    turn_deg : float
        About the right-ascension axis from the last used frame, westward positive, beyond tracking. [deg]
    """

    moved_arcmin: tuple[float, float]
    distance_arcmin: float
    sigma_arcmin: float
    apart_arcmin: float
    apart_sigmas: float
    noise: Array
    total_arcmin: float
    turn_deg: float

    @property
    def has_moved(self) -> bool:
        """Whether the axis clearly moved."""
        return self.apart_arcmin > _LEAST_ARCMIN and self.apart_sigmas > _CLEAR


def shown(before: Alignment, frame: Frame) -> Shown | None:
    """Tell where a frame has the axis.

    Parameters
    ----------
    before : Alignment
        The finding before, with its camera.
    frame : Frame

    Returns
    -------
    Shown or None
        None for another camera, or where the finding holds none.
    """
    camera, sensor = before.camera, before.sensor
    if camera is None or sensor is None or not sensor_of(frame).is_like(sensor):
        return None
    observed = before.sky.observed(frame.sky[None], np.array([frame.utc]))
    found = carry_axis(camera, observed, sensor.pixel_scale_arcsec * ARCSEC)
    azimuth, altitude = azalt_from_direction(np.stack([before.axis, found.axis]))
    moved = (float(wrap(azimuth[1] - azimuth[0])), float(altitude[1] - altitude[0]))
    doubt = float(np.trace(found.covariance))
    doubt += 0.0 if before.covariance is None else float(np.trace(before.covariance))
    knobs = knob_rotation(before.axis, *moved)
    turn = float(turn_about(found.axis, (found.attitudes @ (knobs @ camera.attitude).T)[0]))
    westward = -turn if before.site.is_north else turn
    elapsed = seconds_between(before.utc, frame.utc) if before.utc else 0.0
    place = float(wrap(westward - SIDEREAL_RATE * elapsed))
    reference, noise = _reference(before, camera, found, place)
    off = (found.axis - reference) @ tangent_basis(before.axis)
    return Shown(
        moved_arcmin=(moved[0] / ARCMIN, moved[1] / ARCMIN),
        distance_arcmin=float(angle_between(before.axis, found.axis)) / ARCMIN,
        sigma_arcmin=float(np.sqrt(doubt)) / ARCMIN,
        apart_arcmin=float(angle_between(reference, found.axis)) / ARCMIN,
        apart_sigmas=float(np.sqrt(off @ np.linalg.solve(noise, off))),
        noise=noise / ARCMIN**2,
        total_arcmin=float(angle_between(before.pole.direction, found.axis)) / ARCMIN,
        turn_deg=place / DEGREE,
    )


def _reference(
    before: Alignment, camera: CameraAxis, found: FollowedAxis, place: float
) -> tuple[Array, Array]:
    """The axis that a move is counted from, and the covariance of the difference. [rad^2]"""
    known = np.zeros((2, 2)) if before.covariance is None else before.covariance
    if abs(place) > _ONE_PLACE_DEG * DEGREE:
        return before.axis, np.asarray(found.covariance + known)
    return np.asarray(camera.attitude @ camera.axis), 2 * found.own
