"""The real sky at a site: ICRS places to observed directions and back, the poles, the Sun.

The only room that asks ERFA about the sky. Observed directions are East-North-Up unit vectors, refraction
included: a misaligned mount turns about a mechanical axis, and what its camera sees is the refracted sky.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any, Literal

import erfa
import numpy as np

from polarcheck.constants import DEGREE, HUMIDITY, WAVELENGTH_UM
from polarcheck.errors import InputError
from polarcheck.site import Site
from polarcheck.sky.earth import EarthOrientation, earth_orientation
from polarcheck.vectors import Array, direction_from_azalt, direction_from_spherical, spherical_from_direction

__all__ = [
    "Atmosphere",
    "Pole",
    "PoleKind",
    "celestial_pole",
    "icrs_from_observed",
    "moon_altitude_deg",
    "moon_lit_part",
    "observed_from_icrs",
    "refracted_pole",
    "refraction",
    "refraction_constants",
    "standard_atmosphere",
    "sun_altitude_deg",
    "true_pole",
]

PoleKind = Literal["refracted", "true", "target"]
"""Where an error is counted from: one of the two poles, or the best axis for one target."""


_EARTH_RADIUS_AU = 4.2635e-5  # 6378.1 km
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
    InputError
        Values that no air has.
    """

    pressure_hpa: float
    temperature_c: float
    relative_humidity: float = HUMIDITY
    wavelength_um: float = WAVELENGTH_UM

    def __post_init__(self) -> None:
        if self.pressure_hpa != 0 and not _THINNEST_HPA <= self.pressure_hpa <= 1100:
            raise InputError(
                f"pressure {self.pressure_hpa:g} hPa is not within {_THINNEST_HPA:g} to 1100 (nor 0: no refraction); "
                "is it in another unit?"
            )
        if not -80 <= self.temperature_c <= 60:
            raise InputError(f"temperature {self.temperature_c:g} deg C is not within -80 to 60")
        if not (0 <= self.relative_humidity <= 1 and 0.1 <= self.wavelength_um <= 10):
            raise InputError(
                f"humidity {self.relative_humidity:g} is not within 0 to 1, "
                f"or wavelength {self.wavelength_um:g} um not within 0.1 to 10"
            )


@dataclass(frozen=True, slots=True)
class Pole:
    """A celestial pole as a direction at the site, or what stands in its place as the aim.

    Attributes
    ----------
    kind : {"refracted", "true", "target"}
        Where a star at the pole is seen, or where it would be seen without air, or the best axis for a target.
    azimuth_deg, altitude_deg : float
        Azimuth 0 in the north and 180 in the south. [deg]
    """

    kind: PoleKind
    azimuth_deg: float
    altitude_deg: float

    @property
    def direction(self) -> Array:
        """East-North-Up unit vector, shape (3,)."""
        return direction_from_azalt(self.azimuth_deg * DEGREE, self.altitude_deg * DEGREE)


def standard_atmosphere(
    height_m: float, pressure_hpa: float | None = None, temperature_c: float | None = None
) -> Atmosphere:
    """Return the International Standard Atmosphere at a height; what is measured stands instead.

    Parameters
    ----------
    height_m : float
        Above sea level. [m]
    pressure_hpa, temperature_c : float, optional
        Measured values.

    References
    ----------
    .. [1] U.S. Standard Atmosphere 1976 / ISO 2533: 1013.25 hPa, 15 deg C, -6.5 K/km (from memory).
    """
    standard_c = 15.0 - 0.0065 * height_m
    standard_hpa = 1013.25 * (1 - 0.0065 * height_m / 288.15) ** 5.25588
    return Atmosphere(
        standard_hpa if pressure_hpa is None else pressure_hpa,
        standard_c if temperature_c is None else temperature_c,
    )


def observed_from_icrs(
    directions: Array, utc: Array, site: Site, atmosphere: Atmosphere, earth: EarthOrientation | None = None
) -> Array:
    """Carry ICRS directions to observed directions.

    Precession and nutation (IAU 2006/2000A), annual and diurnal aberration, light deflection, Earth
    rotation, polar motion and refraction, by ERFA.

    Parameters
    ----------
    directions : ndarray, shape (n, k, 3)
        ICRS unit vectors, `k` of them for each of `n` moments.
    utc : ndarray, shape (n, 2)
        Two-part UTC Julian dates.
    site : Site
        Where.
    atmosphere : Atmosphere
        The air there.
    earth : EarthOrientation, optional
        Looked up from the bundled table when not given.

    Returns
    -------
    ndarray, shape (n, k, 3)
        East-North-Up unit vectors.
    """
    astrom = _astrometry(utc, site, atmosphere, earth)[:, None]
    ra, dec = spherical_from_direction(directions)
    ri, di = erfa.atciq(ra, dec, 0.0, 0.0, 0.0, 0.0, astrom)
    azimuth, zenith_distance, *_ = erfa.atioq(ri, di, astrom)
    return direction_from_azalt(azimuth, np.pi / 2 - zenith_distance)


def icrs_from_observed(
    directions: Array, utc: Array, site: Site, atmosphere: Atmosphere, earth: EarthOrientation | None = None
) -> Array:
    """Carry observed directions, shape (n, k, 3), back to ICRS unit vectors; see `observed_from_icrs`."""
    astrom = _astrometry(utc, site, atmosphere, earth)[:, None]
    longitude, altitude = spherical_from_direction(directions)
    ri, di = erfa.atoiq("A", np.pi / 2 - longitude, np.pi / 2 - altitude, astrom)
    return direction_from_spherical(*erfa.aticq(ri, di, astrom))


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


def true_pole(site: Site) -> Pole:
    """Return the visible celestial pole without air: altitude equals the absolute latitude."""
    return Pole("true", 0.0 if site.is_north else 180.0, abs(site.latitude_deg))


def refracted_pole(site: Site, atmosphere: Atmosphere) -> Pole:
    """Return the visible celestial pole where a star exactly there is seen."""
    true = true_pole(site)
    lifted = true.altitude_deg + refraction(true.altitude_deg * DEGREE, atmosphere) / DEGREE
    return Pole("refracted", true.azimuth_deg, min(lifted, 90.0))


def celestial_pole(kind: PoleKind, site: Site, atmosphere: Atmosphere) -> Pole:
    """Return the refracted or the true pole.

    Raises
    ------
    InputError
        For the aim at a target, which a site alone does not give.
    """
    if kind == "target":
        raise InputError("the aim at a target needs the target, a time and a duration")
    return refracted_pole(site, atmosphere) if kind == "refracted" else true_pole(site)


def sun_altitude_deg(utc: Array, site: Site) -> Array:
    """Return the Sun's altitude without refraction, shape (n,), good to 0.02 deg. [deg]"""
    heliocentric, _ = erfa.epv00(utc[:, 0], utc[:, 1])
    sun = -heliocentric["p"]
    sun /= np.linalg.norm(sun, axis=-1, keepdims=True)
    airless = Atmosphere(0.0, 10.0)
    return np.asarray(np.arcsin(observed_from_icrs(sun[:, None], utc, site, airless)[:, 0, 2]) / DEGREE)


def moon_altitude_deg(utc: Array, site: Site) -> Array:
    """Return the Moon's altitude without refraction, its parallax counted, shape (n,), good to 0.1 deg. [deg]"""
    moon, earth = _moon(utc), earth_orientation(utc)
    distance = np.linalg.norm(moon, axis=-1, keepdims=True)
    airless = Atmosphere(0.0, 10.0)
    seen = observed_from_icrs((moon / distance)[:, None], utc, site, airless, earth)[:, 0]
    # parallax lowers the Moon by the observer's distance from the Earth's centre, nearly along the vertical
    lowered = seen * distance - np.array([0.0, 0.0, _EARTH_RADIUS_AU])
    return np.asarray(np.arcsin(lowered[:, 2] / np.linalg.norm(lowered, axis=-1)) / DEGREE)


def moon_lit_part(utc: Array) -> Array:
    """Return the illuminated fraction of the Moon's disc, shape (n,)."""
    heliocentric, _ = erfa.epv00(utc[:, 0], utc[:, 1])
    sun, moon = -heliocentric["p"], _moon(utc)
    from_moon = sun - moon
    cosine = np.sum(from_moon * -moon, axis=-1) / np.linalg.norm(from_moon, axis=-1)
    return np.asarray((1 + cosine / np.linalg.norm(moon, axis=-1)) / 2)


def _moon(utc: Array) -> Array:
    """Geocentric place of the Moon, shape (n, 3), near enough ICRS. [au]"""
    return np.asarray(erfa.moon98(utc[:, 0], utc[:, 1])["p"])


def refraction_constants(air: Atmosphere) -> tuple[float, float]:
    """Return ERFA's A and B, for A tan z + B tan^3 z with the observed zenith distance (``eraRefco``). [rad]"""
    a, b = erfa.refco(air.pressure_hpa, air.temperature_c, air.relative_humidity, air.wavelength_um)
    return float(a), float(b)


def _astrometry(utc: Array, site: Site, air: Atmosphere, earth: EarthOrientation | None) -> Any:
    earth = earth_orientation(utc) if earth is None else earth
    with warnings.catch_warnings():
        # far dates only lack leap seconds; earth_orientation says what an unknown UT1 costs
        warnings.simplefilter("ignore", erfa.ErfaWarning)
        astrom, _ = erfa.apco13(
            utc[:, 0],
            utc[:, 1],
            earth.ut1_minus_utc_s,
            site.longitude_deg * DEGREE,
            site.latitude_deg * DEGREE,
            site.height_m,
            earth.pole_x,
            earth.pole_y,
            air.pressure_hpa,
            air.temperature_c,
            air.relative_humidity,
            air.wavelength_um,
        )
    return astrom
