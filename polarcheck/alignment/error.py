"""An axis against a pole: the error, in the units and signs that everything else speaks.

Errors are axis minus pole. The azimuth error is an angle about the vertical, which is what the azimuth knob
turns; on the sky it is smaller by the cosine of the axis' altitude. Positive azimuth is clockwise seen from
above: too far east in the north, too far west in the south. See docs/conventions.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.constants import ARCMIN, DEGREE, SIDEREAL_RATE
from polarcheck.sky import Pole
from polarcheck.vectors import Array, angle_between, azalt_from_direction, wrap

__all__ = ["AxisError", "axis_error", "interval_factor", "side_words"]

_ONE_SIDED_95 = 1.645  # standard errors; below it lie 95 % of a normal distribution


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
    def brief(self) -> str:
        """Both errors with their sigmas, for a repr."""
        azimuth = f"azimuth {self.azimuth_arcmin:+.3f} ± {self.azimuth_sigma_arcmin:.3f}"
        return f"{azimuth}, altitude {self.altitude_arcmin:+.3f} ± {self.altitude_sigma_arcmin:.3f} arcmin"

    @property
    def total_most_arcmin(self) -> float:
        """What the total error stays below with 95 % confidence, one-sided, by its noise. [arcmin]"""
        return self.total_arcmin + _ONE_SIDED_95 * self.total_sigma_arcmin

    @property
    def largest_drift_arcsec_per_min(self) -> float:
        """Drift of the worst-placed star while the mount tracks unguided, refraction aside. [arcsec/min]

        The sky turns about the pole and the camera about the axis; to first order the two part by the
        sidereal rate times the angle between them, times the sine of the hour angle from the worst place.
        """
        return self.total_arcmin * 60 * SIDEREAL_RATE * 60


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
        Axis minus pole; azimuth about the vertical, positive clockwise from above. [arcmin]
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
    from scipy.special import ndtri, stdtrit  # only results need it

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
