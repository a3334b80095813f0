"""What the camera sees and what is tolerated: sensor, scale, guide star, drive, tolerance."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from polarcheck.constants import ARCSEC, DEGREE, FWHM_PER_SIGMA
from polarcheck.errors import InputError, Notice, ParameterError
from polarcheck.frames import Sensor
from polarcheck.printable import printable
from polarcheck.rig import Rig
from polarcheck.vectors import Array

__all__ = ["Optics", "optics_from", "parse_sensor", "parse_tolerance", "seen_notices", "trail_for_elongation"]

_SIDES = np.array([[0, 0], [-1, -1], [0, -1], [1, -1], [-1, 0], [1, 0], [-1, 1], [0, 1], [1, 1]]) / 2
_PARAMETERS = {"focal length": "focal_length_mm", "pixel size": "pixel_size_um", "sensor": "sensor_px"}
_SENSOR = re.compile(r"\s*(\d{1,6})\s*[x×X*]\s*(\d{1,6})\s*", re.ASCII)
_MOST_TOLERANCE = 10_000.0
_TOLERANCE = re.compile(
    r"\s*(?P<number>\d+(?:\.\d*)?|\.\d+)\s*(?P<unit>px|arcsec|\"|elongation)\s*", re.ASCII
)


@dataclass(frozen=True, slots=True)
class Optics:
    """What the camera sees, and how it is guided.

    Attributes
    ----------
    pixel_scale_arcsec : float
        At the centre. [arcsec/px]
    width_px, height_px : int
        Size of the sensor. [px]
    camera_angle_deg : float
        Position angle of the sensor's +y side, north through east. [deg]
    guide_offset_deg : tuple of float
        Guide star minus field centre, east and north, gnomonic. [deg]
    periodic_error_arcsec : float
        Of the drive, peak to peak, as an angle about the axis. [arcsec]
    worm_period_s : float
        Its period. [s]
    """

    pixel_scale_arcsec: float
    width_px: int
    height_px: int
    camera_angle_deg: float = 0.0
    guide_offset_deg: tuple[float, float] = (0.0, 0.0)
    periodic_error_arcsec: float = 0.0
    worm_period_s: float = 0.0

    @property
    def sensor_offsets(self) -> Array:
        """Centre, corners and middles of the edges: gnomonic offsets east and north, shape (9, 2). [rad]"""
        return self.offsets_of(_SIDES)

    def offsets_of(self, places: Array) -> Array:
        """Return gnomonic offsets east and north of places in shares of width and height from the centre. [rad]"""
        return np.asarray(places * self._sides @ self._turn)

    def contains(self, offsets: Array) -> Array:
        """Return which gnomonic offsets east and north, shape (..., 2), lie on the sensor, its edge included. [rad]"""
        with np.errstate(invalid="ignore"):
            inside = np.abs(offsets @ self._turn.T) <= self._sides / 2 * (1 + 1e-9)
        return np.asarray(inside.all(axis=-1))

    @property
    def _sides(self) -> Array:
        """Width and height in the focal plane. [rad at the centre]"""
        return np.array([self.width_px, self.height_px]) * self.pixel_scale_arcsec * ARCSEC

    @property
    def _turn(self) -> Array:
        """Rows: where the sensor's +x and +y sides point, east and north."""
        c, s = np.cos(self.camera_angle_deg * DEGREE), np.sin(self.camera_angle_deg * DEGREE)
        return np.array([[c, -s], [s, c]])


def optics_from(
    rig: Rig | None,
    *,
    focal_length_mm: float | None = None,
    pixel_size_um: float | None = None,
    sensor_px: tuple[int, int] | None = None,
    camera_angle_deg: float = 0.0,
    guide_offset_deg: tuple[float, float] | None = None,
    seen: Sensor | None = None,
) -> Optics:
    """Put together what a rig file and options say of the optics; options go first.

    Parameters
    ----------
    rig : Rig or None
    focal_length_mm, pixel_size_um : float, optional
        [mm], [um]
    sensor_px : tuple of int, optional
        Width and height. [px]
    camera_angle_deg : float
        Position angle of the sensor's +y side. [deg]
    guide_offset_deg : tuple of float, optional
        Guide star minus field centre, east and north. [deg]
    seen : Sensor, optional
        What the frames' solutions show of their camera: serves for what nobody states, the pixel scale where neither
        focal length nor pixel size is an argument.

    Returns
    -------
    Optics

    Raises
    ------
    InputError
        Focal length, pixel size or sensor size is not known, or out of range.
    """
    for parameter, value, least, most in (
        ("focal_length_mm", focal_length_mm, 1.0, 50_000.0),
        ("pixel_size_um", pixel_size_um, 0.1, 100.0),
        ("camera_angle_deg", camera_angle_deg, -360.0, 360.0),
    ):
        if value is not None and not least <= value <= most:
            raise ParameterError(f"{value:g} is not within {least:g} to {most:g}", parameter)
    focal = focal_length_mm or (rig.optics.focal_length_mm if rig else None)
    pixel = pixel_size_um or (rig.camera.pixel_size_um if rig else None)
    width, height = sensor_px or ((rig.camera.width_px, rig.camera.height_px) if rig else (None, None))
    scale = pixel / 1000 / focal / ARCSEC if focal and pixel else None
    if seen is not None:
        width, height = (width, height) if width and height else (seen.width_px, seen.height_px)
        if scale is None and focal_length_mm is None and pixel_size_um is None:
            scale = seen.pixel_scale_arcsec
    if not (scale and width and height):
        raise _unknown({"focal length": focal, "pixel size": pixel, "sensor": width and height})
    mount = rig.mount if rig else None
    offset = (rig.guiding.offset_deg if rig else None) or (0.0, 0.0)
    return Optics(
        pixel_scale_arcsec=scale,
        width_px=width,
        height_px=height,
        camera_angle_deg=camera_angle_deg,
        guide_offset_deg=guide_offset_deg or (offset[0], offset[1]),
        periodic_error_arcsec=(mount.periodic_error_arcsec or 0.0) if mount else 0.0,
        worm_period_s=(mount.worm_period_s or 0.0) if mount else 0.0,
    )


def seen_notices(optics: Optics, rig: Rig | None, stated: bool, seen: Sensor | None) -> tuple[Notice, ...]:
    """Say that the frames' own camera serves, where nobody stated the optics.

    Parameters
    ----------
    optics : Optics
        In use.
    rig : Rig or None
    stated : bool
        Whether anything was stated beside the rig file.
    seen : Sensor or None
        Of the frames.
    """
    if stated or seen is None or (rig is not None and rig.pixel_scale_arcsec is not None):
        return ()
    text = (
        f"No optics are stated: those of the frames count, {optics.pixel_scale_arcsec:.3g} arcsec a pixel, "
        f"{optics.width_px} x {optics.height_px} px. If another camera takes the picture, state it."
    )
    return (Notice("optics-of-frames", text, ("focal_length_mm", "pixel_size_um", "sensor_px", "rig")),)


def _unknown(known: dict[str, float | None]) -> InputError:
    missing = [name for name, value in known.items() if not value]
    parameters = [_PARAMETERS[name] for name in missing]
    return InputError(
        f"the optics are not known: {', '.join(missing)}; give them, or a rig file that has them",
        [*parameters, "rig"],
    )


def parse_sensor(text: str) -> tuple[int, int]:
    """Read the size of a sensor such as ``1200x900``: width and height. [px]

    Raises
    ------
    InputError
        Anything else.
    """
    match = _SENSOR.fullmatch(text)
    if match is None or int(match[1]) < 1 or int(match[2]) < 1:
        raise InputError(f"'{printable(text, 40)}' is no size such as 1200x900")
    return int(match[1]), int(match[2])


def parse_tolerance(text: str, pixel_scale_arcsec: float, fwhm_arcsec: float | None = None) -> float:
    """Read how far a star may move.

    Parameters
    ----------
    text : str
        ``"1px"``, ``"2arcsec"``, or ``"1.2elongation"``: as long as a star of the given FWHM gets no longer than this.
    pixel_scale_arcsec : float
        [arcsec/px]
    fwhm_arcsec : float, optional
        Of a star that does not move. [arcsec]

    Returns
    -------
    float
        [arcsec]

    Raises
    ------
    InputError
        None of these, not above zero, or an elongation without FWHM.
    """
    match = _TOLERANCE.fullmatch(text)
    if match is None:
        raise InputError(
            f"'{printable(text, 40)}' is no tolerance; write for example 1px, 2arcsec or 1.2elongation"
        )
    number, unit = float(match["number"]), match["unit"]
    if number > _MOST_TOLERANCE:
        raise InputError(f"a tolerance of more than {_MOST_TOLERANCE:g} {unit} is none")
    if unit == "elongation":
        if fwhm_arcsec is None:
            raise InputError(
                "a tolerance as elongation needs the stars' size (FWHM), such as 3.2arcsec", ["fwhm_arcsec"]
            )
        if number <= 1:
            raise InputError("an elongation (major over minor axis) is above 1, such as 1.2elongation")
        return trail_for_elongation(number, fwhm_arcsec)
    if number <= 0:
        raise InputError("a tolerance is above 0, such as 1px or 2arcsec")
    return number * (pixel_scale_arcsec if unit == "px" else 1.0)


def trail_for_elongation(elongation: float, fwhm: float) -> float:
    """Return the length of an even trail that makes a round star so long; in the unit of `fwhm`.

    By second moments: a trail of length L adds L^2 / 12 to the variance along it, and a Gaussian star has
    FWHM / 2.3548 as its standard deviation.
    """
    return fwhm / FWHM_PER_SIGMA * math.sqrt(12 * (elongation**2 - 1))
