"""Targets by catalogue name, offline, and lists of targets.

The open NGC, IC and Messier catalogue comes with a package, so that no network is asked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.site import parse_target

__all__ = ["Target", "find_target", "read_targets"]

_EXAMPLE = "write a name such as M31, NGC 7000 or IC 1396, or RA,DEC such as 10.68,41.27"
_MOST = 10_000
_TEXT_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class Target:
    """A place on the sky to image.

    Attributes
    ----------
    name : str
        Printable; the coordinates where it has no name.
    ra_deg, dec_deg : float
        ICRS. [deg]
    """

    name: str
    ra_deg: float
    dec_deg: float

    @property
    def place(self) -> tuple[float, float]:
        """Right ascension and declination, ICRS. [deg]"""
        return self.ra_deg, self.dec_deg


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
        Neither, or a name that the catalogue does not know.

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
    return _by_name(bare)


def _by_name(name: str) -> Target:
    import math

    from pyongc.exceptions import UnknownIdentifier
    from pyongc.ongc import Dso, listObjects

    try:
        found = Dso(name)
    except UnknownIdentifier:
        called = listObjects(cname=name) if re.fullmatch(r"[\w' .-]+", name) else []
        if len(called) != 1:
            raise InputError(f"no catalogue object is called '{printable(name, 40)}'; {_EXAMPLE}") from None
        found = called[0]
    place = found.rad_coords
    if place is None:
        raise InputError(f"the catalogue has no place for '{printable(name, 40)}'; {_EXAMPLE}")
    ra, dec = (math.degrees(float(angle)) for angle in place)
    return Target(printable(name, 60), ra, dec)


def read_targets(path: Path) -> tuple[Target, ...]:
    """Read a list of targets from a text file.

    Parameters
    ----------
    path : pathlib.Path
        One target a line: a catalogue name, or ``RA,DEC``, or ``name: RA,DEC``. Empty lines and what follows a ``#``
        do not count.

    Returns
    -------
    tuple of Target

    Raises
    ------
    InputError
        The file or a line of it cannot be read; the text names the line.
    """
    name = printable(path.name)
    try:
        if path.stat().st_size > _TEXT_BYTES:
            raise InputError(f"{name}: is too large for a list of targets")
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except OSError as error:
        raise InputError(f"{name}: cannot be read ({printable(error.strerror or error)})") from None
    except UnicodeDecodeError:
        raise InputError(f"{name}: is no UTF-8 text; give one target a line") from None
    found = [_line(name, i + 1, line.split("#")[0].strip()) for i, line in enumerate(lines)]
    targets = tuple(target for target in found if target)
    if not targets:
        raise InputError(f"{name}: names no target; give one a line: a name, RA,DEC, or name: RA,DEC")
    if len(targets) > _MOST:
        raise InputError(f"{name}: names {len(targets)} targets; at most {_MOST} are worked on at once")
    return targets


def _line(name: str, number: int, line: str) -> Target | None:
    if not line:
        return None
    label, colon, rest = line.partition(": ")
    try:
        if colon and "," in rest:
            ra, dec = parse_target(rest)
            return Target(printable(label, 40), ra, dec)
        return find_target(line)
    except InputError as error:
        raise InputError(f"{name}, line {number}: {error}") from None
