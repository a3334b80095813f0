"""Each number that is used in more than one room, with its unit and its source."""

from __future__ import annotations

import math

__all__ = [
    "ARCMIN",
    "ARCSEC",
    "DEGREE",
    "FRAME_NOISE_PX",
    "FWHM_PER_SIGMA",
    "HUMIDITY",
    "SIDEREAL_DAY_S",
    "SIDEREAL_RATE",
    "WAVELENGTH_UM",
]

DEGREE = math.pi / 180
"""One degree. [rad]"""

ARCMIN = DEGREE / 60
"""One minute of arc. [rad]"""

ARCSEC = DEGREE / 3600
"""One second of arc. [rad]"""

SIDEREAL_DAY_S = 86164.0905
"""Mean sidereal day. [s] Explanatory Supplement to the Astronomical Almanac (from memory)."""

SIDEREAL_RATE = 2 * math.pi / SIDEREAL_DAY_S
"""Mean sidereal rate. [rad/s]"""

HUMIDITY = 0.5
"""Relative humidity when nothing else is said; it moves refraction by less than 0.1 arcsec at 45 deg."""

WAVELENGTH_UM = 0.55
"""Wavelength for refraction when nothing else is said. [um]"""

FRAME_NOISE_PX = 0.2
"""Assumed noise of one frame's pointing, per coordinate, when residuals cannot tell. [px]

Measured on rendered catalogue stars solved by a general plate solver; see docs/accuracy.md.
"""

FWHM_PER_SIGMA = 2 * math.sqrt(2 * math.log(2))
"""Width of a Gaussian at half of its height, over its standard deviation."""
