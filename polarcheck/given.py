"""What callers give: text, numbers or objects of astropy, taken as what the package works with or refused in words."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Protocol, TypeAlias

from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.site import Site, parse_site
from polarcheck.times import parse_duration, utc_from_iso

__all__ = [
    "PathLike",
    "SiteLike",
    "UtcLike",
    "as_number",
    "as_pair",
    "as_path",
    "as_paths",
    "as_seconds",
    "as_site",
    "as_utc",
]


class _EarthPlace(Protocol):
    """What `astropy.coordinates.EarthLocation` has."""

    @property
    def geodetic(self) -> Any: ...


class _Moment(Protocol):
    """What `astropy.time.Time` has."""

    @property
    def utc(self) -> Any: ...


PathLike: TypeAlias = str | os.PathLike[str]
SiteLike: TypeAlias = Site | str | Sequence[float] | _EarthPlace
UtcLike: TypeAlias = tuple[float, float] | str | datetime.datetime | _Moment


def as_site(given: SiteLike, name: str = "site") -> Site:
    """Return a site.

    Parameters
    ----------
    given : Site, str, sequence of two or three numbers, or astropy.coordinates.EarthLocation
        Text as ``"47.3,11.2,900"``; numbers are latitude (north positive), longitude (east positive) [deg] and height [m].
    name : str
        Of the parameter, for the message.

    Returns
    -------
    Site

    Raises
    ------
    InputError
        Something else, or a place that does not exist.
    """
    if isinstance(given, Site):
        return given
    if isinstance(given, str):
        return parse_site(given, name)
    if hasattr(given, "geodetic"):
        place = given.geodetic
        return Site(float(place.lat.deg), float(place.lon.deg), float(place.height.to_value("m")), name)
    numbers = _numbers(given)
    if numbers is None or len(numbers) not in (2, 3):
        raise InputError(
            f"{name} = {_shown(given)} is no site: give polarcheck.Site, (latitude, longitude) or (latitude, longitude, "
            "height), text such as '47.3,11.2,900', or an EarthLocation"
        )
    return Site(numbers[0], numbers[1], numbers[2] if len(numbers) == 3 else 0.0, name)


def as_utc(given: UtcLike, name: str = "utc") -> tuple[float, float]:
    """Return a moment as a two-part Julian date of UTC.

    Parameters
    ----------
    given : tuple of float, str, datetime.datetime or astropy.time.Time
        ISO 8601 text such as ``"2026-11-14T20:13:45"`` (UTC unless an offset follows); a datetime with its time zone; one
        `Time` in any scale; or the two parts themselves.
    name : str
        Of the parameter, for the message.

    Returns
    -------
    tuple of float
        [d]

    Raises
    ------
    InputError
        Something else: one number is no moment, since it does not say of which count of days it is.
    """
    if isinstance(given, str):
        return utc_from_iso(given)
    if isinstance(given, datetime.datetime):
        if given.utcoffset() is None:
            raise InputError(
                f"{name} = {_shown(given)} has no time zone: give it one, or ISO 8601 text in UTC"
            )
        return utc_from_iso(given.astimezone(datetime.UTC).replace(tzinfo=None).isoformat())
    if hasattr(given, "utc") and hasattr(given, "isscalar"):
        if not given.isscalar:
            raise InputError(f"{name} holds several moments; give one")
        return float(given.utc.jd1), float(given.utc.jd2)
    numbers = _numbers(given)
    if numbers is None or len(numbers) != 2:
        raise InputError(
            f"{name} = {_shown(given)} is no moment: give text such as '2026-11-14T20:13:45', an astropy Time, a datetime "
            "with its time zone, or a Julian date of UTC in two parts"
        )
    return numbers[0], numbers[1]


def as_path(given: PathLike, name: str = "path") -> Path:
    """Return a path.

    Parameters
    ----------
    given : str or path-like
        A file or a folder.
    name : str
        Of the parameter, for the message.

    Returns
    -------
    pathlib.Path

    Raises
    ------
    InputError
        Something else.
    """
    if isinstance(given, str) and given:
        return Path(given)
    if isinstance(given, os.PathLike) and isinstance(os.fspath(given), str):
        return Path(given)
    raise InputError(f"{name} = {_shown(given)} is no path: give text or a pathlib.Path")


def as_paths(given: PathLike | Iterable[PathLike], name: str = "paths") -> list[Path]:
    """Return one path or several as a list; what is none raises as in `as_path`.

    Parameters
    ----------
    given : path or sequence of paths
        Files or folders.
    name : str
        Of the parameter, for the message.

    Returns
    -------
    list of pathlib.Path
    """
    if isinstance(given, str | os.PathLike) or not isinstance(given, Iterable):
        return [as_path(given, name)]
    return [as_path(path, name) for path in given]


def as_seconds(given: float | str, name: str) -> float:
    """Return a length of time.

    Parameters
    ----------
    given : float or str
        Seconds, or text as `polarcheck.times.parse_duration` reads it, such as ``"10min"``.
    name : str
        Of the parameter, for the message.

    Returns
    -------
    float
        [s]

    Raises
    ------
    InputError
        Something else.
    """
    return parse_duration(given) if isinstance(given, str) else as_number(given, name)


def as_number(given: float, name: str) -> float:
    """Return one finite number; anything else raises an `InputError` that names the parameter.

    Parameters
    ----------
    given : float
        The number.
    name : str
        Of the parameter, for the message.

    Returns
    -------
    float
    """
    numbers = None if isinstance(given, str) else _numbers([given])
    if numbers is None:
        raise InputError(f"{name} = {_shown(given)} is no finite number")
    return numbers[0]


def as_pair(given: Sequence[float], name: str) -> tuple[float, float]:
    """Return two finite numbers; anything else raises an `InputError` that names the parameter.

    Parameters
    ----------
    given : sequence of float
        Two of them.
    name : str
        Of the parameter, for the message.

    Returns
    -------
    tuple of float
    """
    numbers = None if isinstance(given, str) else _numbers(given)
    if numbers is None or len(numbers) != 2:
        raise InputError(f"{name} = {_shown(given)} is not two finite numbers, such as (12.5, -7)")
    return numbers[0], numbers[1]


def _numbers(given: Any) -> list[float] | None:
    try:
        numbers = [float(value) for value in given]
    except (TypeError, ValueError):
        return None
    return numbers if all(map(math.isfinite, numbers)) else None


def _shown(given: object) -> str:
    return printable(repr(given), 60)
