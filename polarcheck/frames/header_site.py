"""The place of the mount, from the several families of header keywords."""

from __future__ import annotations

import math
import re

import erfa

from polarcheck.errors import InputError, Notice
from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.printable import printable
from polarcheck.site import Site, parse_angle

__all__ = ["header_site"]

_WGS84 = 1  # ERFA's number for the ellipsoid
_LONGITUDES = ("LONG", "LON")
_HEIGHTS = ("ELEV", "ALT", "HEI", "ELE")
# latitude, longitudes, heights; the standard's own keywords first
_FAMILIES: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("OBSGEO-B", ("OBSGEO-L",), ("OBSGEO-H",)),
    *(
        (f"{stem}LAT", tuple(stem + end for end in _LONGITUDES), tuple(stem + end for end in _HEIGHTS))
        for stem in ("SITE", "SITE-", "OBS", "OBS-", "GEO", "GEO-")
    ),
    ("LAT-OBS", ("LONG-OBS", "LON-OBS"), ("ALT-OBS", "ELEV-OBS")),
    ("LATITUDE", ("LONGITUD",), ("ALTITUDE",)),
    ("GPS-LAT", ("GPS-LON",), ("GPS-ALT",)),  # what EXIF says, see `exif`
)


def header_site(cards: Cards) -> tuple[Site | None, tuple[Notice, ...]]:
    """Return the site that the header gives.

    Parameters
    ----------
    cards : Cards
        The frame's cards.

    Returns
    -------
    Site or None
        Longitude east positive; a card whose comment says west is taken west positive.
    tuple of Notice
        Where keywords are there and cannot be used.

    References
    ----------
    .. [1] FITS Standard 4.0, section 9.2.3, OBSGEO (from memory). The other families have no standard.
    """
    faults: list[str] = []
    for family in (None, *_FAMILIES):
        try:
            found = _geocentric(cards) if family is None else _geodetic(cards, *family)
        except (InputError, UnusableError) as fault:
            faults.append(str(fault))
            continue
        if found is not None:
            return found
    if not faults:
        return None, ()
    text = f"The header's site cannot be used: {faults[0]}. Say it instead."
    return None, (Notice("site-unusable", text, ("site",)),)


_Found = tuple[Site, tuple[Notice, ...]]


def _geocentric(cards: Cards) -> _Found | None:
    xyz = [cards.number(f"OBSGEO-{axis}") for axis in "XYZ"]
    if None in xyz:
        return None
    if not any(xyz):
        raise UnusableError("OBSGEO-X, -Y and -Z are 0, so not set")
    longitude, latitude, height = erfa.gc2gd(_WGS84, xyz)
    return Site(math.degrees(latitude), math.degrees(longitude), float(height), "header OBSGEO-X, -Y, -Z"), ()


def _geodetic(
    cards: Cards, latitude_key: str, longitude_keys: tuple[str, ...], height_keys: tuple[str, ...]
) -> _Found | None:
    longitude_key = next((key for key in longitude_keys if cards.value(key) is not None), None)
    if longitude_key is None or cards.value(latitude_key) is None:
        return None
    latitude, longitude = _angle(cards, latitude_key), _angle(cards, longitude_key)
    if latitude == longitude == 0:
        raise UnusableError(f"{latitude_key} and {longitude_key} are both 0, so not set")
    if re.search(r"\bwest\b(?! *(?:is|=)? *negative)", cards.comment(longitude_key), re.IGNORECASE):
        longitude = -longitude
    source = f"header {latitude_key}, {longitude_key}" if cards.are_fits else "EXIF GPS"
    height, notices = _height(cards, height_keys)
    return Site(latitude, longitude, height, source), notices


def _angle(cards: Cards, keyword: str) -> float:
    value = cards.value(keyword)
    if isinstance(value, bool) or value is None:
        raise UnusableError(f"{keyword} = {value} is no angle")
    try:
        # a comma between digits is a decimal one: in an angle nothing else is parted
        return parse_angle(re.sub(r"(?<=\d),(?=\d)", ".", value) if isinstance(value, str) else value)
    except InputError as error:
        raise UnusableError(f"{keyword} = '{printable(value, 40)}' is no angle in degrees") from error


def _height(cards: Cards, keywords: tuple[str, ...]) -> tuple[float, tuple[Notice, ...]]:
    for keyword in keywords:
        try:
            height = cards.number(keyword)
            # ALTITUDE also names the telescope's altitude angle
            if height is None or (keyword == "ALTITUDE" and not _is_metres(cards.comment(keyword))):
                continue
            return Site(0.0, 0.0, height).height_m, ()
        except (InputError, UnusableError):
            text = f"The header's {keyword} is no height of a site in metres; taken as 0 m."
            return 0.0, (Notice("height-unusable", text),)
    return 0.0, ()


def _is_metres(comment: str) -> bool:
    return (
        re.search(r"\[m\]|\bmet(?:er|re)s?\b|\(m\)|above sea|\belevation\b", comment, re.IGNORECASE)
        is not None
    )
