"""Where the mount stands, and how places and sky coordinates are written as text."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["Site", "parse_angle", "parse_right_ascension", "parse_site", "parse_target"]

_SEPARATORS = str.maketrans(
    {"−": "-", "º": "°", "′": "'", "’": "'", "″": '"', "”": '"', "ʰ": "h", "ᵐ": "m", "ˢ": "s"}
)
_FIRST = r"(?P<sign>[+-]?)\s*(?P<first>\d+(?:\.\d*)?|\.\d+)"
_REST = (
    r"(?:{first_mark}(?:(?P<second>\d+(?:\.\d*)?)(?:\s*[:m']\s*|\s+|$)"
    r"(?:(?P<third>\d+(?:\.\d*)?)\s*(?:s|\"|'')?)?)?)?"
)
_DEGREES = re.compile(_FIRST + _REST.format(first_mark=r"(?:\s*[:d°]\s*|\s+)"), re.ASCII)
_HOURS = re.compile(_FIRST + _REST.format(first_mark=r"(?:\s*[:h]\s*|\s+)"), re.ASCII)
# a small s after a digit is seconds, not south
_LETTER_AFTER = re.compile(r"\s*[NSEWnew]$|(?<=[°'\"])\s*s$")
_LETTER_BEFORE = re.compile(r"^[NSEW]\s*(?=[\d.])", re.IGNORECASE)
_ANGLE_EXAMPLE = "write decimal or sexagesimal degrees, for example 47.3, -33:52:10 or 11d30m10s"
_RA_EXAMPLE = "write decimal degrees or sexagesimal hours, for example 83.82, 05:35:17.3 or 5h35m17s"


@dataclass(frozen=True, slots=True)
class Site:
    """A place on the Earth.

    Attributes
    ----------
    latitude_deg : float
        Geodetic latitude, north positive, within +-90. [deg]
    longitude_deg : float
        East positive, wrapped to (-180, 180]. [deg]
    height_m : float
        Above the ellipsoid. [m]
    source : str
        Where it came from, printable: "option", "rig file", or the header keywords.

    Raises
    ------
    InputError
        A latitude, longitude or height that no place has.
    """

    latitude_deg: float
    longitude_deg: float
    height_m: float = 0.0
    source: str = "option"

    def __post_init__(self) -> None:
        _require("latitude", self.latitude_deg, -90, 90, "deg", self.source)
        _require("longitude", self.longitude_deg, -360, 360, "deg", self.source)
        _require("height", self.height_m, -1000, 10000, "m", self.source)
        if not -180 < self.longitude_deg <= 180:  # the wrap costs the last digits of others
            object.__setattr__(self, "longitude_deg", 180.0 - (180.0 - self.longitude_deg) % 360.0)

    @property
    def is_north(self) -> bool:
        """Whether the north celestial pole is the visible one; the equator counts as north."""
        return self.latitude_deg >= 0

    def moved(self, latitude_deg: float, longitude_deg: float) -> Site:
        """Return a place further north by `latitude_deg` and east by `longitude_deg`, at the same height. [deg]"""
        return Site(
            self.latitude_deg + latitude_deg, self.longitude_deg + longitude_deg, self.height_m, "moved"
        )


def _require(what: str, value: float, least: float, most: float, unit: str, source: str) -> None:
    if not least <= value <= most:
        raise InputError(f"{what} {value:g} {unit} is not within {least:g} to {most:g} (site: {source})")


def parse_angle(text: str | float) -> float:
    r"""Read an angle in degrees.

    Parameters
    ----------
    text : str or float
        A number, or text: ``"52.1"``, ``"-33:52:10"``, ``"+25 12 34.111"``, ``"52d30m"``,
        ``"52°30'10\""``. A letter N, S, E or W may lead or trail; S and W make the angle negative.

    Returns
    -------
    float
        The angle; ``"-0 30 0"`` is negative. [deg]

    Raises
    ------
    InputError
        No angle, minutes or seconds of 60 or more, or a sign beside S or W.
    """
    return _angle_and_letter(text)[0]


def _angle_and_letter(text: str | float) -> tuple[float, str]:
    if isinstance(text, (int, float)):
        if not math.isfinite(text):
            raise InputError(f"{text} is no angle; {_ANGLE_EXAMPLE}")
        return float(text), ""
    bare = text.translate(_SEPARATORS).strip()
    found = _LETTER_BEFORE.search(bare) or _LETTER_AFTER.search(bare)
    letter = found.group().strip().upper() if found else ""
    number = bare.replace(found.group(), "", 1) if found else bare
    value = _sexagesimal(_DEGREES, number, text, _ANGLE_EXAMPLE)
    if letter in ("S", "W"):
        if "-" in bare:
            raise InputError(f"angle '{printable(text, 40)}' has both a minus and {letter}; leave one out")
        value = -value
    return value, letter


def _sexagesimal(pattern: re.Pattern[str], bare: str, text: str, example: str) -> float:
    match = pattern.fullmatch(bare.strip().lower() if pattern is _HOURS else bare.strip())
    if match is None:
        raise InputError(f"'{printable(text, 40)}' is no angle; {example}")
    given = [part for part in (match["first"], match["second"], match["third"]) if part]
    whole, minutes, seconds = (float(part) for part in (given + ["0", "0"])[:3])
    fraction_too_early = any("." in part for part in given[:-1])
    if minutes >= 60 or seconds >= 60 or fraction_too_early:
        raise InputError(f"'{printable(text, 40)}' has impossible minutes or seconds; {example}")
    return math.copysign(whole + minutes / 60 + seconds / 3600, -1.0 if match["sign"] == "-" else 1.0)


def parse_site(text: str, source: str = "option") -> Site:
    """Read ``"LAT,LON[,HEIGHT]"``.

    Parameters
    ----------
    text : str
        Latitude (north positive) and longitude (east positive) as `parse_angle` reads them, height in metres.
    source : str
        Where the text came from, for messages.

    Returns
    -------
    Site

    Raises
    ------
    InputError
        Not two or three values, or a place that does not exist.
    """
    parts = text.split(",")
    if len(parts) not in (2, 3):
        raise InputError(
            f"site '{printable(text, 60)}' is not LAT,LON[,HEIGHT]; write for example 47.3,11.2,900"
        )
    latitude, latitude_letter = _angle_and_letter(parts[0])
    longitude, longitude_letter = _angle_and_letter(parts[1])
    if latitude_letter in ("E", "W") or longitude_letter in ("N", "S"):
        raise InputError(f"site '{printable(text, 60)}' must give the latitude first, then the longitude")
    height = parts[2].strip().lower().removesuffix("m").strip() if len(parts) == 3 else "0"
    try:
        return Site(latitude, longitude, float(height), source)
    except InputError:
        raise
    except ValueError:
        raise InputError(
            f"height '{printable(parts[2], 20)}' is no number of metres (site: {source})"
        ) from None


def parse_right_ascension(text: str) -> float:
    """Read a right ascension.

    Parameters
    ----------
    text : str
        Decimal degrees (``"83.82"``, ``"83.82d"``), or hours when sexagesimal or marked with h
        (``"05:35:17.3"``, ``"5 35 17.3"``, ``"5h35m17s"``, ``"5.59h"``).

    Returns
    -------
    float
        Right ascension, within [0, 360). [deg]

    Raises
    ------
    InputError
        No right ascension, or outside 0 to 360 deg.
    """
    bare = text.translate(_SEPARATORS).strip().lower()
    if re.search(r"[d°]", bare) or re.fullmatch(r"[+-]?[\d.]+", bare):
        degrees = _sexagesimal(_DEGREES, bare, text, _RA_EXAMPLE)
    else:
        degrees = 15 * _sexagesimal(_HOURS, bare, text, _RA_EXAMPLE)
    if not 0 <= degrees <= 360:
        raise InputError(f"right ascension '{printable(text, 40)}' is not within 0 to 360 deg (0 to 24 h)")
    return degrees % 360


def parse_target(text: str) -> tuple[float, float]:
    """Read ``"RA,DEC"``.

    Parameters
    ----------
    text : str
        Right ascension as `parse_right_ascension` reads it, and declination as `parse_angle` does.

    Returns
    -------
    tuple of float
        ICRS right ascension and declination. [deg]

    Raises
    ------
    InputError
        Not two values, or a declination outside +-90 deg.
    """
    parts = text.split(",")
    if len(parts) != 2:
        raise InputError(f"target '{printable(text, 60)}' is not RA,DEC; write for example 83.82,-5.39")
    declination = parse_angle(parts[1])
    if abs(declination) > 90:
        raise InputError(f"declination '{printable(parts[1], 40)}' is not within -90 to 90 deg")
    return parse_right_ascension(parts[0]), declination
