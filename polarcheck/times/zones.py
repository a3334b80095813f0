"""Time zones: what a camera's clock shows, to UTC."""

from __future__ import annotations

import datetime
import re
import zoneinfo
from functools import lru_cache

import erfa

from polarcheck.errors import ParameterError
from polarcheck.printable import printable
from polarcheck.times.utc import add_seconds

__all__ = ["check_zone", "zone_ahead_s"]

_FIXED = re.compile(r"(?:UTC)?(?P<sign>[+-])(?P<hours>\d{1,2})(?::?(?P<minutes>\d{2}))?", re.ASCII | re.I)
_NAME = re.compile(r"[A-Za-z][\w+-]*(?:/[\w+-]+)*", re.ASCII)
_FARTHEST_H = 14  # UTC+14 is kept on some islands


def check_zone(zone: str) -> str:
    """Return a time zone as it was given.

    Parameters
    ----------
    zone : str
        ``+01:00``, ``-5``, ``UTC``, or a name of the IANA time zone database such as ``Europe/Vienna``.

    Returns
    -------
    str

    Raises
    ------
    ParameterError
        None of these.
    """
    _parsed(zone)
    return zone


def zone_ahead_s(zone: str, local: tuple[float, float]) -> float:
    """Return by how much a zone's clocks are ahead of UTC.

    Parameters
    ----------
    zone : str
        As for `check_zone`.
    local : tuple of float
        What such a clock shows, two-part quasi-Julian date. [d]

    Returns
    -------
    float
        Positive east of Greenwich. [s]

    Raises
    ------
    ParameterError
        Not a zone; or the clocks were put back or forward then, so that they show this time twice or never.
    """
    tz = _parsed(zone)
    year, month, day, clock, _ = erfa.ufunc.d2dtf(b"UTC", 0, *add_seconds(local, 0.0))
    hour, minute, second, _ = (int(part) for part in clock.item())
    shown = datetime.datetime(int(year), int(month), int(day), hour, minute, min(second, 59), tzinfo=tz)
    first, second_time = (shown.replace(fold=fold).utcoffset() for fold in (0, 1))
    if first is None or second_time is None or first != second_time:
        often = "twice" if first is not None and second_time is not None and first > second_time else "never"
        raise ParameterError(
            f"in the time zone {printable(zone, 60)} clocks show {shown:%Y-%m-%d %H:%M} {often}, since they were put "
            f"{'back' if often == 'twice' else 'forward'} then: give the zone as hours, such as +01:00",
            "zone",
        )
    return first.total_seconds()


@lru_cache(maxsize=16)
def _parsed(zone: str) -> datetime.tzinfo:
    text = zone.strip().replace("−", "-")
    if text.upper() in ("UTC", "Z", "GMT"):
        return datetime.UTC
    if fixed := _FIXED.fullmatch(text):
        ahead = datetime.timedelta(hours=int(fixed["hours"]), minutes=int(fixed["minutes"] or 0))
        if int(fixed["minutes"] or 0) < 60 and ahead <= datetime.timedelta(hours=_FARTHEST_H):
            return datetime.timezone(-ahead if fixed["sign"] == "-" else ahead)
    elif _NAME.fullmatch(text):
        try:
            return zoneinfo.ZoneInfo(text)
        except (KeyError, ValueError, OSError):  # not there, or a folder, or no file of zones
            pass
    raise ParameterError(
        f"'{printable(zone, 40)}' is no time zone; write it as +01:00, UTC, or by its name in the IANA time zone "
        "database, as Europe/Vienna",
        "zone",
    )
