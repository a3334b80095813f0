"""The sky of a site under its air: ICRS places to observed directions and back, and the poles.

Observed directions are East-North-Up unit vectors, refraction included: a misaligned mount turns about a mechanical
axis, and what its camera sees is the refracted sky.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import erfa
import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, refraction, standard_atmosphere
from polarcheck.sky.earth import earth_orientation
from polarcheck.sky.epochs import Epochs, terrestrial_time
from polarcheck.vectors import Array, direction_from_azalt, direction_from_spherical, spherical_from_direction

__all__ = ["Pole", "PoleKind", "Sky"]

PoleKind = Literal["refracted", "true", "target"]
"""Where an error is counted from: one of the two poles, or the best axis for one target."""


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


@dataclass(frozen=True, slots=True)
class Sky:
    """The sky over a site, seen through its air.

    Attributes
    ----------
    site : Site
        Where.
    air : Atmosphere
        The air there.
    """

    site: Site
    air: Atmosphere

    @classmethod
    def over(
        cls,
        site: Site,
        pressure_hpa: float | None = None,
        temperature_c: float | None = None,
        relative_humidity: float | None = None,
    ) -> Sky:
        """Return the sky over a site under the standard atmosphere; what is measured stands instead.

        Parameters
        ----------
        site : Site
            Where.
        pressure_hpa, temperature_c, relative_humidity : float, optional
            Of the air there; pressure 0 switches refraction off. [hPa], [deg C], 0 to 1
        """
        air = standard_atmosphere(site.height_m, pressure_hpa, temperature_c, relative_humidity)
        return cls(site, air)

    @property
    def is_north(self) -> bool:
        """Whether the north celestial pole is the visible one; the equator counts as north."""
        return self.site.is_north

    @property
    def true_pole(self) -> Pole:
        """The visible celestial pole without air: altitude equals the absolute latitude."""
        return Pole("true", 0.0 if self.is_north else 180.0, abs(self.site.latitude_deg))

    @property
    def refracted_pole(self) -> Pole:
        """Where a star exactly at the visible celestial pole is seen."""
        true = self.true_pole
        lifted = true.altitude_deg + refraction(true.altitude_deg * DEGREE, self.air) / DEGREE
        return Pole("refracted", true.azimuth_deg, min(lifted, 90.0))

    def pole(self, kind: PoleKind) -> Pole:
        """Return the refracted or the true pole.

        Raises
        ------
        InputError
            For the aim at a target, which a site alone does not give, and for another word.
        """
        if kind == "target":
            raise InputError("the aim at a target needs the target, a time and a duration")
        if kind not in ("refracted", "true"):
            raise InputError(f"pole = {printable(repr(kind), 40)} is neither 'refracted' nor 'true'")
        return self.refracted_pole if kind == "refracted" else self.true_pole

    def observed(self, directions: Array, utc: Array | Epochs) -> Array:
        """Carry ICRS directions to observed directions.

        Precession and nutation (IAU 2006/2000A), annual and diurnal aberration, light deflection, Earth
        rotation, polar motion and refraction, by ERFA.

        Parameters
        ----------
        directions : ndarray, shape (n, k, 3)
            ICRS unit vectors, `k` of them for each of `n` moments.
        utc : ndarray, shape (n, 2), or Epochs
            Two-part UTC Julian dates, or these with what is known of the Earth then.

        Returns
        -------
        ndarray, shape (n, k, 3)
            East-North-Up unit vectors.
        """
        astrom = self._astrometry(utc)[:, None]
        ra, dec = spherical_from_direction(directions)
        ri, di = erfa.atciq(ra, dec, 0.0, 0.0, 0.0, 0.0, astrom)
        azimuth, zenith_distance, *_ = erfa.atioq(ri, di, astrom)
        return direction_from_azalt(azimuth, np.pi / 2 - zenith_distance)

    def observed_beside_earth(self, directions: Array, utc: Array | Epochs) -> Array:
        """Carry geocentric directions of what moves with the Earth (the Moon): as `observed`, no annual aberration."""
        astrom = self._astrometry(utc)
        of_date = np.einsum("nij,nkj->nki", astrom["bpn"], directions)
        azimuth, zenith_distance, *_ = erfa.atioq(*spherical_from_direction(of_date), astrom[:, None])
        return direction_from_azalt(azimuth, np.pi / 2 - zenith_distance)

    def sidereal_time(self, utc: Array) -> Array:
        """Return the local apparent sidereal time, shape (n,), in [0, 2 pi). [rad]

        References
        ----------
        .. [1] ERFA, ``eraGst06a``.
        """
        earth = earth_orientation(utc)
        ut1 = utc[:, 1] + earth.ut1_minus_utc_s / 86400
        greenwich = erfa.gst06a(utc[:, 0], ut1, *terrestrial_time(utc))
        return np.asarray((greenwich + self.site.longitude_deg * DEGREE) % (2 * np.pi))

    def icrs(self, directions: Array, utc: Array | Epochs) -> Array:
        """Carry observed directions, shape (n, k, 3), back to ICRS unit vectors; see `observed`."""
        astrom = self._astrometry(utc)[:, None]
        longitude, altitude = spherical_from_direction(directions)
        ri, di = erfa.atoiq("A", np.pi / 2 - longitude, np.pi / 2 - altitude, astrom)
        return direction_from_spherical(*erfa.aticq(ri, di, astrom))

    def _astrometry(self, utc: Array | Epochs) -> Any:
        epochs = utc if isinstance(utc, Epochs) else Epochs.of(utc)
        return epochs.astrometry(self.site, self.air)
