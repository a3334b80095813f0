"""How the mount stands: the axis, how it was found, the night so far, and what a later frame needs."""

from __future__ import annotations

import os.path
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol, TypeAlias

import numpy as np

from polarcheck.alignment.error import AxisError, axis_error
from polarcheck.alignment.systematic import Systematic
from polarcheck.axis import CameraAxis
from polarcheck.constants import ARCMIN
from polarcheck.errors import InputError
from polarcheck.frames import Sensor
from polarcheck.printable import printable
from polarcheck.site import Site
from polarcheck.sky import Pole, PoleKind, Sky
from polarcheck.times import seconds_between
from polarcheck.vectors import Array

__all__ = ["Alignment", "AlignmentLike", "FrameFile", "Step", "as_alignment"]

_ONE_PLACE_DEG = 0.25  # sites as near as that are one, for one header rounds and another does not


@dataclass(frozen=True, slots=True)
class FrameFile:
    """Where a frame lies, so that a later command can look at it again.

    Attributes
    ----------
    paths : tuple of pathlib.Path
        Where to look, in this order. Unchecked: a kept result may name anything.
    clock_ahead_s : float
        What was taken off the header's time for a clock ahead of UTC. [s]
    zone : str or None
        Time zone that was stated for local times. Unchecked.
    """

    paths: tuple[Path, ...]
    clock_ahead_s: float = 0.0
    zone: str | None = None

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


@dataclass(frozen=True, slots=True, repr=False)
class Alignment:
    """How the mount stands, and what a later frame needs to see it move.

    Attributes
    ----------
    sky : Sky
        Where, and the air used for refraction.
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
    systematic : Systematic or None
        What sag and creep may have done beside the covariance; None if the axis was merely given.
    """

    sky: Sky
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
    systematic: Systematic | None = None

    def __repr__(self) -> str:
        site = self.site
        return f"Alignment({self.error.brief}, {self.pole_kind} pole at {site.latitude_deg:g}, {site.longitude_deg:g})"

    @property
    def site(self) -> Site:
        """Where the mount stands."""
        return self.sky.site

    @property
    def utc(self) -> tuple[float, float] | None:
        """Mid-exposure of the last used frame, two-part Julian date; None if the axis was merely given."""
        return self.steps[-1].utc if self.steps else None

    @property
    def is_loose(self) -> bool:
        """Whether the axis was seen with the base's clamps or bolts loose."""
        return bool(self.steps) and self.steps[-1].is_loose

    @property
    def pole(self) -> Pole:
        """What the error refers to."""
        if self.pole_kind == "target" and self.target_aim is not None:
            return self.target_aim
        return self.sky.pole(self.pole_kind)

    def aimed_at(self, pole: Pole) -> Alignment:
        """Return the same axis, its error counted from another pole or aim."""
        return replace(self, pole_kind=pole.kind, target_aim=pole if pole.kind == "target" else None)

    def continuing(self, before: Alignment, turned: tuple[float, float] | None) -> Alignment:
        """Return the same axis, measured anew, as one that goes on with the night of an earlier result.

        Parameters
        ----------
        before : Alignment
            The earlier result; its steps, which teach how the knobs act, come first.
        turned : tuple of float or None
            Turns that the azimuth and the altitude knob were given since, clockwise positive; None if nobody says. [turn]

        Raises
        ------
        InputError
            The earlier result is later, or of another place.
        """
        here, there = self.site, before.site
        apart = max(
            abs(here.latitude_deg - there.latitude_deg), abs(here.longitude_deg - there.longitude_deg) / 2
        )
        if apart > _ONE_PLACE_DEG:
            raise InputError("the earlier result is of another place: its knobs' history does not go on here")
        own = self.steps[-1]
        if before.utc is not None and seconds_between(before.utc, own.utc) <= 0:
            raise InputError(
                "the earlier result is not earlier: its last frame is no older than the last one here"
            )
        return replace(self, steps=(*before.steps, replace(own, turned=turned)))

    @property
    def error(self) -> AxisError:
        """Axis minus pole; sigmas are zero where the axis was merely given."""
        covariance = np.zeros((2, 2)) if self.covariance is None else self.covariance
        return axis_error(self.axis, covariance, self.degrees_of_freedom, self.pole)

    @property
    def largest_sigma_arcmin(self) -> float:
        """Standard error of the axis on the sky where it is largest; 0 where it was merely given. [arcmin]"""
        if self.covariance is None:
            return 0.0
        return float(np.sqrt(np.linalg.eigvalsh(self.covariance)[-1])) / ARCMIN

    @property
    def allowances_arcmin(self) -> tuple[float, float, float]:
        """What sag and creep are allowed to do to azimuth, altitude and the total error; 0 if merely given. [arcmin]"""
        if self.systematic is None:
            return 0.0, 0.0, 0.0
        along = self.systematic.along_arcmin(self.axis, self.pole.direction)
        return *self.systematic.half_widths_arcmin(self.axis), along

    @property
    def stands_clear(self) -> tuple[bool, bool]:
        """Whether azimuth and altitude error are larger than their 95 % intervals and the allowances together."""
        error, (azimuth, altitude, _) = self.error, self.allowances_arcmin
        return (
            abs(error.azimuth_arcmin) > error.azimuth_95_arcmin + azimuth,
            abs(error.altitude_arcmin) > error.altitude_95_arcmin + altitude,
        )


class _Aligned(Protocol):
    """A result that holds an alignment: what `measure` and `follow` give."""

    @property
    def alignment(self) -> Alignment: ...


AlignmentLike: TypeAlias = Alignment | _Aligned


def as_alignment(given: AlignmentLike, name: str = "alignment") -> Alignment:
    """Return how the mount stands.

    Parameters
    ----------
    given : Alignment, Measurement or Followed
        Itself, or the result that holds it.
    name : str
        Of the parameter, for the message.

    Returns
    -------
    Alignment

    Raises
    ------
    InputError
        Something else.
    """
    found = given if isinstance(given, Alignment) else getattr(given, "alignment", None)
    if not isinstance(found, Alignment):
        raise InputError(
            f"{name} = {printable(repr(given), 60)} is no alignment: give what measure, follow or read_result returns"
        )
    return found
