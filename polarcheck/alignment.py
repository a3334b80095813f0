"""An axis against a pole: the error, in the units and signs that everything else speaks.

Errors are axis minus pole. The azimuth error is an angle about the vertical, which is what the azimuth knob
turns; on the sky it is smaller by the cosine of the axis' altitude. Positive azimuth is clockwise seen from
above: too far east in the north, too far west in the south. See docs/conventions.md.
"""

from __future__ import annotations

import os.path
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from polarcheck.camera_axis import CameraAxis
from polarcheck.constants import ARCMIN, DEGREE, SIDEREAL_RATE
from polarcheck.site import Site
from polarcheck.sky import Atmosphere, Pole, PoleKind, celestial_pole
from polarcheck.vectors import Array, angle_between, azalt_from_direction, wrap

__all__ = [
    "Alignment",
    "AxisError",
    "FrameFile",
    "Sensor",
    "Step",
    "axis_error",
    "interval_factor",
    "side_words",
]


@dataclass(frozen=True, slots=True)
class AxisError:
    """How far the mount's axis is off the pole.

    Attributes
    ----------
    azimuth_arcmin : float
        About the vertical, axis minus pole, within +-180 deg. [arcmin]
    altitude_arcmin : float
        Axis minus pole; positive is too high. [arcmin]
    azimuth_on_sky_arcmin : float
        Azimuth error times the cosine of the axis' altitude. [arcmin]
    total_arcmin : float
        Great-circle angle between axis and pole. [arcmin]
    azimuth_sigma_arcmin, altitude_sigma_arcmin : float
        Half-widths of the 68.27 % intervals. [arcmin]
    total_sigma_arcmin : float
        The same for the total error, along the line from pole to axis. [arcmin]
    correlation : float
        Of the two errors.
    azimuth_95_arcmin, altitude_95_arcmin : float
        Half-widths of the 95 % intervals. [arcmin]
    """

    azimuth_arcmin: float
    altitude_arcmin: float
    azimuth_on_sky_arcmin: float
    total_arcmin: float
    azimuth_sigma_arcmin: float
    altitude_sigma_arcmin: float
    total_sigma_arcmin: float
    correlation: float
    azimuth_95_arcmin: float
    altitude_95_arcmin: float

    @property
    def largest_drift_arcsec_per_min(self) -> float:
        """Drift of the worst-placed star while the mount tracks unguided, refraction aside. [arcsec/min]

        The sky turns about the pole and the camera about the axis; to first order the two part by the
        sidereal rate times the angle between them, times the sine of the hour angle from the worst place.
        """
        return self.total_arcmin * 60 * SIDEREAL_RATE * 60


@dataclass(frozen=True, slots=True)
class Sensor:
    """What tells one camera's frames from another's.

    Attributes
    ----------
    width_px, height_px : int
        Size of the image. [px]
    pixel_scale_arcsec : float
        At the centre. [arcsec/px]
    mirrored : bool
        Whether it sees the sky mirrored.
    """

    width_px: int
    height_px: int
    pixel_scale_arcsec: float
    mirrored: bool

    def is_like(self, other: Sensor, ratio: float = 1.015) -> bool:
        """Whether size and parity are the same, and the pixel scales within a ratio."""
        apart = self.pixel_scale_arcsec / other.pixel_scale_arcsec
        mine, theirs = ((sensor.width_px, sensor.height_px, sensor.mirrored) for sensor in (self, other))
        return mine == theirs and 1 / ratio < apart < ratio


@dataclass(frozen=True, slots=True)
class FrameFile:
    """Where a frame lies, so that a later command can look at it again.

    Attributes
    ----------
    paths : tuple of pathlib.Path
        Where to look, in this order. Unchecked: a kept result may name anything.
    clock_ahead_s : float
        What was taken off the header's time for a clock ahead of UTC. [s]
    """

    paths: tuple[Path, ...]
    clock_ahead_s: float = 0.0

    def seen_from(self, folder: Path) -> tuple[str | None, str]:
        """Return the first path relative to a folder (None on another drive), with slashes, and absolute."""
        absolute = self.paths[0].absolute()
        try:
            relative = Path(os.path.relpath(absolute, folder.absolute())).as_posix()
        except ValueError:
            return None, str(absolute)
        return relative, str(absolute)


@dataclass(frozen=True, slots=True)
class Step:
    """Where the axis was found at one moment of the night.

    Attributes
    ----------
    utc : tuple of float
        Two-part Julian date.
    azimuth_deg, altitude_deg : float
        Of the axis. [deg]
    covariance : ndarray, shape (2, 2)
        On the tangent plane (azimuth times cos altitude, altitude). [rad^2]
    turned : tuple of float or None
        Turns that the azimuth and the altitude knob were given since the step before, net, clockwise
        positive; None where that is not known, and for a fresh measurement.
    is_fresh : bool
        True for a measurement of its own, False for one that follows on the step before.
    is_loose : bool
        Whether the frames were taken with the base's clamps or bolts loose.
    """

    utc: tuple[float, float]
    azimuth_deg: float
    altitude_deg: float
    covariance: Array
    turned: tuple[float, float] | None = None
    is_fresh: bool = True
    is_loose: bool = False


@dataclass(frozen=True, slots=True)
class Alignment:
    """How the mount stands, and what a later frame needs to see it move.

    Attributes
    ----------
    site : Site
        Where.
    atmosphere : Atmosphere
        The air used for refraction.
    pole_kind : {"refracted", "true", "target"}
        What the error refers to.
    axis : ndarray, shape (3,)
        East-North-Up unit vector of the elevated end.
    covariance : ndarray, shape (2, 2), or None
        On its tangent plane (azimuth times cos altitude, altitude); None if the axis was merely given.
        [rad^2]
    degrees_of_freedom : int
        Behind the covariance; 0 for an assumed noise.
    camera : CameraAxis or None
        The axis fixed in the camera of the last used frame.
    sensor : Sensor or None
        That camera.
    last_frame : str or None
        Name of that frame, printable.
    last_file : FrameFile or None
        Where it lies.
    is_continuous : bool
        Whether no later frame was left out, so that the camera is known to stand as that frame saw it.
    steps : tuple of Step
        The night so far; the last one is this alignment.
    target_aim : Pole or None
        The aim of the kind "target".
    """

    site: Site
    atmosphere: Atmosphere
    pole_kind: PoleKind
    axis: Array
    covariance: Array | None = None
    degrees_of_freedom: int = 0
    camera: CameraAxis | None = None
    sensor: Sensor | None = None
    last_frame: str | None = None
    last_file: FrameFile | None = None
    is_continuous: bool = True
    steps: tuple[Step, ...] = ()
    target_aim: Pole | None = None

    @property
    def is_loose(self) -> bool:
        """Whether the axis was seen with the base's clamps or bolts loose."""
        return bool(self.steps) and self.steps[-1].is_loose

    @property
    def pole(self) -> Pole:
        """What the error refers to."""
        if self.pole_kind == "target" and self.target_aim is not None:
            return self.target_aim
        return celestial_pole(self.pole_kind, self.site, self.atmosphere)

    def aimed_at(self, pole: Pole) -> Alignment:
        """Return the same axis, its error counted from another pole or aim."""
        return replace(self, pole_kind=pole.kind, target_aim=pole if pole.kind == "target" else None)

    @property
    def error(self) -> AxisError:
        """Axis minus pole; sigmas are zero where the axis was merely given."""
        covariance = np.zeros((2, 2)) if self.covariance is None else self.covariance
        return axis_error(self.axis, covariance, self.degrees_of_freedom, self.pole)


def axis_error(axis: Array, covariance: Array, degrees_of_freedom: int, pole: Pole) -> AxisError:
    """Compare an axis with a pole.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        East-North-Up unit vector of the elevated end.
    covariance : ndarray, shape (2, 2)
        On its tangent plane (azimuth times cos altitude, altitude). [rad^2]
    degrees_of_freedom : int
        Behind the covariance; 0 for an assumed noise, which gives normal intervals.
    pole : Pole
        What to compare with.

    Returns
    -------
    AxisError
    """
    azimuth, altitude = (float(angle) for angle in azalt_from_direction(axis))
    off_azimuth = float(wrap(azimuth - pole.azimuth_deg * DEGREE))
    off_altitude = altitude - pole.altitude_deg * DEGREE
    cosine = max(float(np.cos(altitude)), 1e-12)
    on_sky, up = (float(error) for error in np.sqrt(np.maximum(np.diag(covariance), 0.0)))
    towards = np.array([off_azimuth * cosine, off_altitude])
    length = float(np.linalg.norm(towards))
    towards = towards / length if length > 1e-12 else np.array([1.0, 0.0])
    sigma, wide = interval_factor(0.6827, degrees_of_freedom), interval_factor(0.95, degrees_of_freedom)
    return AxisError(
        azimuth_arcmin=off_azimuth / ARCMIN,
        altitude_arcmin=off_altitude / ARCMIN,
        azimuth_on_sky_arcmin=off_azimuth * cosine / ARCMIN,
        total_arcmin=float(angle_between(axis, pole.direction)) / ARCMIN,
        azimuth_sigma_arcmin=sigma * on_sky / cosine / ARCMIN,
        altitude_sigma_arcmin=sigma * up / ARCMIN,
        total_sigma_arcmin=sigma * float(np.sqrt(np.abs(towards @ covariance @ towards))) / ARCMIN,
        correlation=float(covariance[0, 1] / (on_sky * up)) if on_sky * up > 0 else 0.0,
        azimuth_95_arcmin=wide * on_sky / cosine / ARCMIN,
        altitude_95_arcmin=wide * up / ARCMIN,
    )


def interval_factor(probability: float, degrees_of_freedom: int) -> float:
    """Return the half-width, in standard errors, of a central interval.

    Parameters
    ----------
    probability : float
        Within the interval, such as 0.6827 or 0.95.
    degrees_of_freedom : int
        Student's t; 0 stands for a known noise, the normal distribution.

    Returns
    -------
    float
    """
    from scipy.special import ndtri, stdtrit  # only results need it, not --help

    tail = (1 + probability) / 2
    return float(stdtrit(degrees_of_freedom, tail) if degrees_of_freedom > 0 else ndtri(tail))


def side_words(azimuth: float, altitude: float, north: bool) -> tuple[str, str]:
    """Return where the axis stands from the pole, in words: ("east" or "west", "high" or "low").

    Parameters
    ----------
    azimuth, altitude : float
        Axis minus pole, in any unit.
    north : bool
        Whether the pole is the north celestial one: there clockwise from above is towards east.
    """
    return ("east" if (azimuth >= 0) == north else "west"), ("high" if altitude >= 0 else "low")
