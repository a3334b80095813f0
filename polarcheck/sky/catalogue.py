"""Targets: coordinates, or the name of an object in the catalogue that comes along; no network is asked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeAlias

import numpy as np

from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.site import parse_target
from polarcheck.sky.deep_sky import deep_sky_object

__all__ = ["Target", "TargetLike", "as_target", "find_target"]

_EXAMPLE = "write a name such as M31, NGC 7000 or Rosette Nebula, or RA,DEC such as 10.68,41.27"


@dataclass(frozen=True, slots=True)
class Target:
    """A place on the sky to image.

    Attributes
    ----------
    name : str
        Printable; the coordinates where it has no name.
    ra_deg, dec_deg : float
        ICRS. [deg]
    catalogue_name : str or None
        What the catalogue calls the object that was found by its name, such as "M 42, NGC 1976, Orion Nebula".
    """

    name: str
    ra_deg: float
    dec_deg: float
    catalogue_name: str | None = None

    @property
    def place(self) -> tuple[float, float]:
        """Right ascension and declination, ICRS. [deg]"""
        return self.ra_deg, self.dec_deg

    @property
    def full_name(self) -> str:
        """The name, and what else the catalogue calls it: "Orion Nebula (M 42, NGC 1976)"."""
        said = self.name.replace(" ", "").casefold()
        others = [
            part
            for part in (self.catalogue_name or "").split(", ")
            if part.replace(" ", "").casefold() != said
        ]
        return f"{self.name} ({', '.join(others)})" if any(others) else self.name


class _SkyPlace(Protocol):
    """What `astropy.coordinates.SkyCoord` has."""

    @property
    def icrs(self) -> Any: ...


TargetLike: TypeAlias = Target | str | Sequence[float] | _SkyPlace


def as_target(given: TargetLike) -> Target:
    """Return a target.

    Parameters
    ----------
    given : Target, str, pair of numbers, or astropy.coordinates.SkyCoord
        Text as `find_target` reads it; numbers are ICRS right ascension and declination. [deg]

    Returns
    -------
    Target

    Raises
    ------
    InputError
        Something else, or no place on the sky.
    """
    if isinstance(given, Target):
        return given
    if isinstance(given, str):
        return find_target(given)
    if hasattr(given, "icrs"):
        given = (given.icrs.ra.deg, given.icrs.dec.deg)
    try:
        ra, dec = (float(number) for number in given)
    except (TypeError, ValueError):
        ra, dec = np.nan, np.nan
    if not (0 <= ra <= 360 and abs(dec) <= 90):
        raise InputError(
            f"target = {printable(repr(given), 60)} is no target: give a name, (right ascension, declination) in degrees "
            "within 0 to 360 and -90 to 90, or a SkyCoord"
        )
    return Target(f"{ra:.4f}, {dec:+.4f}", ra % 360, dec)


def find_target(text: str) -> Target:
    """Read a target: coordinates as `polarcheck.site.parse_target` does, or a catalogue name.

    Parameters
    ----------
    text : str
        ``"83.82,-5.39"``, ``"5h35m17s,-5:23:28"``, ``"M 42"``, ``"NGC7000"``, ``"Andromeda Galaxy"``.

    Returns
    -------
    Target

    Raises
    ------
    InputError
        Neither, a name that the catalogue does not know, or a body that moves, such as a planet.

    References
    ----------
    .. [1] OpenNGC, as shipped in the package pyongc; J2000 places, which differ from ICRS by under 0.1 arcsec.
    """
    bare = text.strip()
    if "," in bare:
        ra, dec = parse_target(bare)
        return Target(f"{ra:.4f}, {dec:+.4f}", ra, dec)
    if not bare or len(bare) > 60 or not re.search(r"[A-Za-z]", bare):
        raise InputError(f"'{printable(text, 40)}' is no target; {_EXAMPLE}")
    found = deep_sky_object(bare)
    return Target(printable(bare, 60), found.ra_deg, found.dec_deg, ", ".join(found.names))
