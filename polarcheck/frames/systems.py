"""From the celestial system of a solution to ICRS and back.

All by ERFA: one rotation a frame, where coordinate objects would cost as much as the rest of the reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import erfa
import numpy as np

from polarcheck.errors import Notice
from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.printable import printable
from polarcheck.vectors import Array

__all__ = ["SkySystem", "celestial_system", "longitude_name"]


_PAIRS = {
    frozenset({"RA", "DEC"}): "RA",
    frozenset({"GLON", "GLAT"}): "GLON",
    frozenset({"ELON", "ELAT"}): "ELON",
}


@dataclass(frozen=True, slots=True)
class SkySystem:
    """A celestial reference system.

    Attributes
    ----------
    name : str
        For example "FK5 J2026.9".
    matrix : ndarray, shape (3, 3)
        Rotation that takes its unit vectors to ICRS (for FK4: those of FK5 J2000).
    fk4_epoch : float or None
        Besselian epoch of the observation where the system is FK4 B1950, else None. [yr]
    """

    name: str
    matrix: Array
    fk4_epoch: float | None = None

    def to_icrs(self, directions: Array) -> Array:
        """Carry unit vectors, (n, 3), to ICRS."""
        if self.fk4_epoch is not None:
            lon, lat = erfa.c2s(directions)
            directions = erfa.s2c(*erfa.fk45z(lon, lat, self.fk4_epoch))
        return np.asarray(directions @ self.matrix.T)

    def from_icrs(self, directions: Array) -> Array:
        """Carry ICRS unit vectors, (n, 3), to this system."""
        directions = directions @ self.matrix
        if self.fk4_epoch is not None:
            lon, lat = erfa.c2s(directions)
            directions = erfa.s2c(*erfa.fk54z(lon, lat, self.fk4_epoch)[:2])
        return np.asarray(directions)


def longitude_name(ctypes: tuple[str, str]) -> str | None:
    """Return "RA", "GLON" or "ELON" for a pair of CTYPEs in either order, None for another pair."""
    return _PAIRS.get(frozenset(ctype[:4].rstrip("-") for ctype in ctypes))


def celestial_system(
    longitude: str, cards: Cards, besselian_epoch: float | None
) -> tuple[SkySystem, tuple[Notice, ...]]:
    """Decide the system of a solution from RADESYS and EQUINOX, by the Standard's defaults.

    Parameters
    ----------
    longitude : str
        As from `longitude_name`.
    cards : Cards
        The solution's cards.
    besselian_epoch : float or None
        Time of the exposure, which FK4 needs. [yr]

    Returns
    -------
    SkySystem
    tuple of Notice
        Where RADESYS and EQUINOX contradict each other.

    Raises
    ------
    UnusableError
        A system that is not read.

    References
    ----------
    .. [1] FITS Standard 3.0, section 8.3: without RADESYS it is ICRS without EQUINOX, FK4 before
       1984, else FK5.
    """
    if longitude == "GLON":
        return SkySystem("galactic", _galactic()), ()
    equinox = _equinox(cards)
    name, notices = _radesys(cards, equinox)
    if longitude == "ELON":
        if name == "FK4":
            raise UnusableError("its solution is in ecliptic coordinates of FK4, which are not read")
        return SkySystem(f"ecliptic J{equinox or 2000:g}", _ecliptic(equinox or 2000.0)), notices
    if name == "ICRS":
        return SkySystem("ICRS", np.eye(3)), notices
    if name == "FK5":
        return SkySystem(f"FK5 J{equinox or 2000:g}", _fk5(equinox or 2000.0)), notices
    if equinox not in (None, 1950.0):
        raise UnusableError(f"its solution is in FK4 of equinox {equinox:g}; of FK4 only B1950 is read")
    if besselian_epoch is None:
        raise UnusableError("its solution is in FK4, which needs the time of exposure too")
    return SkySystem("FK4 B1950", _fk5(2000.0), besselian_epoch), notices


def _equinox(cards: Cards) -> float | None:
    keyword = "EQUINOX" if "EQUINOX" in cards else "EPOCH"
    text = cards.text(keyword)
    if text is None:
        return None
    try:
        year = float(text.upper().removeprefix("J").removeprefix("B"))
    except ValueError:
        year = math.nan
    if not 1800 <= year <= 2200:
        raise UnusableError(f"its header card {keyword} = '{printable(text, 20)}' is no year of an equinox")
    return year


def _radesys(cards: Cards, equinox: float | None) -> tuple[str, tuple[Notice, ...]]:
    said = (cards.text("RADESYS") or cards.text("RADECSYS") or "").upper()
    default = "ICRS" if equinox is None else "FK4" if equinox < 1984 else "FK5"
    if not said or said == default:
        return default, ()
    if said == "ICRS" and equinox is not None:
        if abs(equinox - 2000) < 0.1:
            return "ICRS", ()
        return "ICRS", (_contradiction(said, equinox, "ICRS, as the Standard says"),)
    if said == "FK5" or (said == "FK4" and equinox is None):
        return said, ()
    if said == "J2000" and equinox in (None, 2000.0):
        return "FK5", ()
    if said == "FK4":  # the solver wrote EQUINOX; the camera's RADESYS stayed
        return default, (_contradiction(said, equinox, default),)
    raise UnusableError(
        f"its solution is in RADESYS '{printable(said, 20)}', which is not one of ICRS, FK5, FK4"
    )


def _contradiction(said: str, equinox: float | None, taken: str) -> Notice:
    text = (
        f"RADESYS {printable(said, 20)} stands beside EQUINOX {equinox:g}; taken as {taken}. "
        "If the other is right, the axis is off by the precession between them, about 0.33 arcmin a year."
    )
    return Notice("system-contradiction", text)


@lru_cache(maxsize=64)
def _fk5(equinox: float) -> Array:
    """Return the rotation FK5 mean equator and equinox of date -> ICRS."""
    bias, _spin = erfa.fk5hip()  # the spin is for proper motions; a solution holds places at rest in ICRS
    return np.asarray(bias @ erfa.pmat76(*erfa.epj2jd(equinox)).T)


@lru_cache(maxsize=64)
def _ecliptic(equinox: float) -> Array:
    """Return the rotation mean ecliptic and equinox of date (IAU 2006) -> ICRS."""
    return np.asarray(erfa.ecm06(*erfa.epj2jd(equinox)).T)


@lru_cache(maxsize=1)
def _galactic() -> Array:
    """Return the rotation galactic -> ICRS."""
    return np.stack([erfa.s2c(*erfa.g2icrs(*erfa.c2s(axis))) for axis in np.eye(3)], axis=1)
