"""Drift and motion the long way, by other libraries: astropy's AltAz frames and scipy's rotations.

Nothing here comes from the package but its plain data (site and air).
"""

from __future__ import annotations

import astropy.units as u
import numpy as np
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time, TimeDelta
from scipy.spatial.transform import Rotation

from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere

SIDEREAL_DAY_S = 86164.0905  # Explanatory Supplement to the Astronomical Almanac (from memory)


def directions(stars: SkyCoord, start: str, seconds: np.ndarray, site: Site, air: Atmosphere) -> np.ndarray:
    """East-North-Up directions of stars, shape (n, k, 3), by astropy's AltAz with refraction."""
    place = EarthLocation.from_geodetic(
        site.longitude_deg * u.deg, site.latitude_deg * u.deg, site.height_m * u.m
    )
    times = (Time(start, scale="utc") + TimeDelta(np.asarray(seconds) * u.s))[:, None]
    frame = AltAz(
        obstime=times,
        location=place,
        pressure=air.pressure_hpa * u.hPa,
        temperature=air.temperature_c * u.deg_C,
        relative_humidity=air.relative_humidity,
        obswl=air.wavelength_um * u.micron,
    )
    seen = stars[None, :].transform_to(frame)
    az, alt = seen.az.rad, seen.alt.rad
    return np.stack([np.cos(alt) * np.sin(az), np.cos(alt) * np.cos(az), np.sin(alt)], axis=-1)


def star_at(ra: float, dec: float, east: float = 0.0, north: float = 0.0) -> np.ndarray:
    """ICRS unit vector at gnomonic offsets [deg] from a place [deg]."""
    a, d = np.radians([ra, dec])
    centre = np.array([np.cos(d) * np.cos(a), np.cos(d) * np.sin(a), np.sin(d)])
    towards_east = np.array([-np.sin(a), np.cos(a), 0.0])
    towards_north = np.array([-np.sin(d) * np.cos(a), -np.sin(d) * np.sin(a), np.cos(d)])
    v = centre + np.radians(east) * towards_east + np.radians(north) * towards_north
    return v / np.linalg.norm(v)


def icrs(vectors: np.ndarray) -> SkyCoord:
    """Stars from unit vectors, shape (k, 3)."""
    ra = np.arctan2(vectors[:, 1], vectors[:, 0])
    return SkyCoord(ra * u.rad, np.arcsin(vectors[:, 2]) * u.rad)


def carried_back(
    seen: np.ndarray, axis: np.ndarray, seconds: np.ndarray, north: bool, day_s: float = SIDEREAL_DAY_S
) -> np.ndarray:
    """Directions, shape (n, k, 3), as the camera sees them after its mount turned with the sky for so long."""
    # westward is left-handed about the north celestial pole; the camera sees the opposite turn
    sense = 1.0 if north else -1.0
    turned = [
        Rotation.from_rotvec(sense * 2 * np.pi * t / day_s * axis).apply(stars)
        for t, stars in zip(seconds, seen, strict=True)
    ]
    return np.array(turned)


def axis_of(site: Site, pole_altitude_deg: float, error_arcmin: tuple[float, float]) -> np.ndarray:
    """East-North-Up direction of an axis that is off the pole by azimuth (about the vertical) and altitude."""
    az = np.radians((0.0 if site.latitude_deg >= 0 else 180.0) + error_arcmin[0] / 60)
    alt = np.radians(pole_altitude_deg + error_arcmin[1] / 60)
    return np.array([np.cos(alt) * np.sin(az), np.cos(alt) * np.cos(az), np.sin(alt)])


def plane(seen: np.ndarray, sight: np.ndarray, east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Gnomonic focal-plane places, shape (..., 2). [arcsec]"""
    depth = seen @ sight
    return np.degrees(np.stack([seen @ east / depth, seen @ north / depth], axis=-1)) * 3600


def camera_basis(start: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Line of sight, east and north from a target and a star a little north of it, shape (2, 3)."""
    sight = start[0]
    north = start[1] - sight
    north -= sight * (north @ sight)
    north /= np.linalg.norm(north)
    return sight, np.cross(north, sight), north
