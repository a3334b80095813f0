"""Moments, and how the Earth stands and moves then: all of an observed place that no star, site or air changes.

Nutation and the Earth's place cost a hundred times as much as what follows from them for one star, so they are
computed once for the frames of a measurement, and asked about the Sun, another site and other air as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import erfa
import numpy as np
import numpy.typing as npt

from polarcheck.constants import DEGREE
from polarcheck.quiet import quiet
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, refraction_constants
from polarcheck.sky.earth import EarthOrientation, earth_orientation
from polarcheck.vectors import Array

__all__ = ["Epochs", "terrestrial_time"]


def terrestrial_time(utc: Array) -> tuple[Array, Array]:
    """Return two-part TT, each of shape (n,), of two-part UTC, shape (n, 2)."""
    with quiet():  # far dates only lack leap seconds
        first, second = erfa.taitt(*erfa.utctai(utc[:, 0], utc[:, 1]))
    return first, second


@dataclass(frozen=True, slots=True)
class Epochs:
    """The Earth at some moments.

    Attributes
    ----------
    utc : ndarray, shape (n, 2)
        Two-part UTC Julian dates.
    orientation : EarthOrientation
        UT1-UTC and polar motion.
    motion : ndarray of ERFA's pv, shape (n,)
        Barycentric place and velocity of the Earth. [au, au/d]
    from_sun : ndarray, shape (n, 3)
        Heliocentric place of the Earth, ICRS. [au]
    angles : tuple of ndarray, each of shape (n,)
        X and Y of the celestial intermediate pole, CIO locator, Earth rotation angle, TIO locator. [-, -, rad, rad, rad]
    """

    utc: Array
    orientation: EarthOrientation
    motion: npt.NDArray[np.void]
    from_sun: Array
    angles: tuple[Array, Array, Array, Array, Array]

    @classmethod
    def of(cls, utc: Array, orientation: EarthOrientation | None = None) -> Self:
        """Return the Earth at moments, shape (n, 2), UTC; its orientation from the bundled table when not given.

        References
        ----------
        .. [1] ERFA, ``eraApco13``, whose steps these are: precession and nutation IAU 2006/2000A, Earth by ``epv00``.
        """
        orientation = earth_orientation(utc) if orientation is None else orientation
        time = terrestrial_time(utc)
        with quiet():  # far dates only lack leap seconds; earth_orientation says what an unknown UT1 costs
            ut1 = erfa.utcut1(utc[:, 0], utc[:, 1], orientation.ut1_minus_utc_s)
            heliocentric, motion = erfa.epv00(*time)
        x, y = erfa.bpn2xy(erfa.pnm06a(*time))
        angles = x, y, erfa.s06(*time, x, y), erfa.era00(*ut1), erfa.sp00(*time)
        return cls(utc, orientation, motion, heliocentric["p"], angles)

    def at(self, some: npt.NDArray[np.int_] | npt.NDArray[np.bool_]) -> Epochs:
        """Return some of the moments, by index."""
        angles = [angle[some] for angle in self.angles]
        return Epochs(
            self.utc[some],
            self.orientation.at(some),
            self.motion[some],
            self.from_sun[some],
            (angles[0], angles[1], angles[2], angles[3], angles[4]),
        )

    def astrometry(self, site: Site, air: Atmosphere) -> Any:
        """Return ERFA's star-independent parameters for a site and its air, shape (n,)."""
        x, y, cio, rotation, tio = self.angles
        return erfa.apco(
            *terrestrial_time(self.utc),
            self.motion,
            self.from_sun,
            x,
            y,
            cio,
            rotation,
            site.longitude_deg * DEGREE,
            site.latitude_deg * DEGREE,
            site.height_m,
            self.orientation.pole_x,
            self.orientation.pole_y,
            tio,
            *refraction_constants(air),
        )
