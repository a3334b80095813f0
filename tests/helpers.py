"""Geometry and dates for the tests, written without the package's own functions."""

from __future__ import annotations

import erfa
import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

DEG = np.pi / 180
ARCSEC = DEG / 3600
HOUR = 15 * DEG


def utc_date(
    year: int, month: int, day: int, hour: int = 0, minute: int = 0, second: float = 0.0
) -> npt.NDArray[np.float64]:
    """Two-part UTC Julian date, shape (1, 2)."""
    return np.array([erfa.dtf2d("UTC", year, month, day, hour, minute, second)])


def terrestrial_time(utc: Array) -> tuple[float, float]:
    """Two-part TT of one two-part UTC, shape (1, 2)."""
    tai = erfa.utctai(utc[0, 0], utc[0, 1])
    first, second = erfa.taitt(*tai)
    return float(first), float(second)


def icrs(ra: npt.ArrayLike, dec: npt.ArrayLike) -> Array:
    """Unit vectors for right ascension and declination. [rad]"""
    ra, dec = np.asarray(ra, dtype=float), np.asarray(dec, dtype=float)
    return np.stack([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)], axis=-1)


def enu(azimuth: npt.ArrayLike, altitude: npt.ArrayLike) -> Array:
    """East-North-Up unit vectors. [rad]"""
    az, alt = np.asarray(azimuth, dtype=float), np.asarray(altitude, dtype=float)
    return np.stack([np.cos(alt) * np.sin(az), np.cos(alt) * np.cos(az), np.sin(alt)], axis=-1)


def altitude_of(direction: Array) -> Array:
    """Altitude of East-North-Up vectors. [rad]"""
    return np.arctan2(direction[..., 2], np.hypot(direction[..., 0], direction[..., 1]))


def hour_angle_declination(direction: Array, latitude: float) -> tuple[float, float]:
    """Hour angle (west positive) and declination of one East-North-Up vector. [rad]"""
    east, north, up = direction
    towards_equator = up * np.cos(latitude) - north * np.sin(latitude)
    towards_pole = up * np.sin(latitude) + north * np.cos(latitude)
    return float(np.arctan2(-east, towards_equator)), float(
        np.arctan2(towards_pole, np.hypot(east, towards_equator))
    )


def separation_arcsec(a: Array, b: Array) -> Array:
    """Angle between vectors, by cross and dot product. [arcsec]"""
    cross = np.linalg.norm(np.cross(a, b), axis=-1)
    return np.asarray(np.arctan2(cross, np.sum(a * b, axis=-1)) / ARCSEC)


def sphere_points(count: int, seed: int) -> Array:
    """Points spread evenly at random over the sphere, shape (count, 3)."""
    points = np.random.default_rng(seed).normal(size=(count, 3))
    return np.asarray(points / np.linalg.norm(points, axis=1, keepdims=True))


def sphere_lattice(count: int) -> Array:
    """Points spread evenly over the sphere along a golden spiral, shape (count, 3)."""
    index = np.arange(count) + 0.5
    return icrs(index * np.pi * (1 + np.sqrt(5)), np.arcsin(1 - 2 * index / count))
