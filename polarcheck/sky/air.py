"""The air at the site, and by how much it lifts what is seen through it."""

from __future__ import annotations

from dataclasses import dataclass

import erfa
import numpy as np

from polarcheck.constants import HUMIDITY, WAVELENGTH_UM
from polarcheck.errors import ParameterError

__all__ = ["AIRLESS", "Atmosphere", "refraction", "refraction_constants", "standard_atmosphere"]

_THINNEST_HPA = 200.0  # at 10 km of height, the highest site, the standard atmosphere has 264


@dataclass(frozen=True, slots=True)
class Atmosphere:
    """The air at the site, for refraction.

    Attributes
    ----------
    pressure_hpa : float
        At the site itself, not reduced to sea level; 0 switches refraction off. [hPa]
    temperature_c : float
        [deg C]
    relative_humidity : float
        0 to 1.
    wavelength_um : float
        [um]

    Raises
    ------
    ParameterError
        Values that no air has.
    """

    pressure_hpa: float
    temperature_c: float
    relative_humidity: float = HUMIDITY
    wavelength_um: float = WAVELENGTH_UM

    def __post_init__(self) -> None:
        if self.pressure_hpa != 0 and not _THINNEST_HPA <= self.pressure_hpa <= 1100:
            raise ParameterError(
                f"pressure {self.pressure_hpa:g} hPa is not within {_THINNEST_HPA:g} to 1100 (nor 0: no refraction); "
                "is it in another unit?",
                "pressure_hpa",
            )
        if not -80 <= self.temperature_c <= 60:
            raise ParameterError(
                f"temperature {self.temperature_c:g} deg C is not within -80 to 60", "temperature_c"
            )
        if not 0 <= self.relative_humidity <= 1:
            raise ParameterError(
                f"humidity {self.relative_humidity:g} is not within 0 to 1", "relative_humidity"
            )
        if not 0.1 <= self.wavelength_um <= 10:
            raise ParameterError(
                f"wavelength {self.wavelength_um:g} um is not within 0.1 to 10", "wavelength_um"
            )


AIRLESS = Atmosphere(0.0, 10.0)
"""No refraction."""


def standard_atmosphere(
    height_m: float,
    pressure_hpa: float | None = None,
    temperature_c: float | None = None,
    relative_humidity: float | None = None,
) -> Atmosphere:
    """Return the International Standard Atmosphere at a height; what is measured stands instead.

    Parameters
    ----------
    height_m : float
        Above sea level. [m]
    pressure_hpa, temperature_c, relative_humidity : float, optional
        Measured values. [hPa], [deg C], 0 to 1

    References
    ----------
    .. [1] U.S. Standard Atmosphere 1976 / ISO 2533: 1013.25 hPa, 15 deg C, -6.5 K/km (from memory).
    """
    standard_c = 15.0 - 0.0065 * height_m
    standard_hpa = 1013.25 * (1 - 0.0065 * height_m / 288.15) ** 5.25588
    return Atmosphere(
        standard_hpa if pressure_hpa is None else pressure_hpa,
        standard_c if temperature_c is None else temperature_c,
        HUMIDITY if relative_humidity is None else relative_humidity,
    )


def refraction(true_altitude: float, atmosphere: Atmosphere) -> float:
    """Return by how much refraction lifts a direction at a true (airless) altitude. [rad]

    The step that ``eraAtioq`` makes, so that the pole and the stars are lifted alike. Below 3 deg it is
    held at its value there, as ERFA does to within half an arcsecond.

    References
    ----------
    .. [1] ERFA, ``eraRefco`` and ``eraAtioq``.
    """
    a, b = refraction_constants(atmosphere)
    sine, cosine = max(np.sin(true_altitude), 0.05), max(np.cos(true_altitude), 1e-6)
    tangent = cosine / sine
    cubic = b * tangent**2
    return float((a + cubic) * tangent / (1 + (a + 3 * cubic) / sine**2))


def refraction_constants(air: Atmosphere) -> tuple[float, float]:
    """Return ERFA's A and B, for A tan z + B tan^3 z with the observed zenith distance (``eraRefco``). [rad]"""
    a, b = erfa.refco(air.pressure_hpa, air.temperature_c, air.relative_humidity, air.wavelength_um)
    return float(a), float(b)
