"""Text and time scales to UTC and back; a time is ERFA's two-part quasi-Julian date of UTC.

The two parts add up to the date; keeping them apart keeps microseconds. The quasi-date lets a leap
second exist (ERFA, ``eraDtf2d``, note 4), so differences go through atomic time.
"""

from __future__ import annotations

import math
import re

import erfa

from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["add_seconds", "iso_from_utc", "seconds_between", "to_utc", "utc_from_iso"]

_ISO = re.compile(
    r"(?P<year>[+-]?\d{4,5})-(?P<month>\d{1,2})-(?P<day>\d{1,2})"
    r"(?:[T ](?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}(?:\.\d*)?))?)?"
    r"\s*(?P<zone>Z|UTC|[+-]\d{2}:?\d{2})?",
    re.IGNORECASE | re.ASCII,
)
_WRONG = {-2: "month", -3: "day", -4: "hour", -5: "minute"}  # of four digits every year is one
_GPS_BEHIND_TAI_S = 19.0  # IS-GPS-200 (from memory)
_SCALES = {
    **dict.fromkeys(("UTC", "UT1", "UT", "GMT"), "UTC"),
    **dict.fromkeys(("TT", "TDT", "ET"), "TT"),
    **dict.fromkeys(("TAI", "IAT"), "TAI"),
    "TDB": "TDB",
    "GPS": "GPS",
}


def utc_from_iso(text: str) -> tuple[float, float]:
    """Read an ISO 8601 date and time of day.

    Parameters
    ----------
    text : str
        ``"2026-11-14T20:13:45.12"``, in UTC unless an offset follows (``Z``, ``+01:00``).

    Returns
    -------
    tuple of float
        Two-part quasi-Julian date, UTC. [d]

    Raises
    ------
    InputError
        No such date, or a date without time of day.

    References
    ----------
    .. [1] ERFA ``eraDtf2d``.
    """
    match = _ISO.fullmatch(text.strip())
    if match is None:
        raise InputError(
            f"'{printable(text, 40)}' is no date and time; write for example 2026-11-14T20:13:45"
        )
    if match["hour"] is None:
        raise InputError(
            f"'{printable(text, 40)}' is a date without time of day; write it as 2026-11-14T20:13:45"
        )
    calendar = [int(match[k]) for k in ("year", "month", "day", "hour", "minute")]
    jd1, jd2, status = erfa.ufunc.dtf2d(b"UTC", *calendar, float(match["second"] or 0))
    # +1 is a year beyond the table of leap seconds, which is no error here; +2 a time after the day's end
    if status < 0 or status >= 2:
        raise InputError(f"'{printable(text, 40)}' has no valid {_WRONG.get(int(status), 'time of day')}")
    return add_seconds((float(jd1), float(jd2)), -_offset_s(match["zone"]))


def _offset_s(zone: str | None) -> float:
    if zone is None or zone.upper() in ("Z", "UTC"):
        return 0.0
    hours, minutes = int(zone[1:3]), int(zone[-2:])
    if hours > 14 or minutes > 59:
        raise InputError(f"no time zone is {zone} from UTC")
    return math.copysign(hours * 3600.0 + minutes * 60.0, -1.0 if zone[0] == "-" else 1.0)


def iso_from_utc(utc: tuple[float, float]) -> str:
    """Write a time as ISO 8601 in UTC, rounded to 0.01 s (never to second 60, save a leap second).

    Parameters
    ----------
    utc : tuple of float
        Two-part quasi-Julian date, UTC. [d]

    Returns
    -------
    str
        For example ``"2026-11-14T20:13:45.12Z"``.
    """
    year, month, day, clock, _ = erfa.ufunc.d2dtf(b"UTC", 2, *utc)
    hour, minute, second, hundredths = (int(part) for part in clock.item())
    return f"{year:04d}-{month:02d}-{day:02d}T{hour:02d}:{minute:02d}:{second:02d}.{hundredths:02d}Z"


def to_utc(jd: tuple[float, float], scale: str) -> tuple[float, float]:
    """Convert a date in a FITS time scale to UTC.

    Parameters
    ----------
    jd : tuple of float
        Two-part (quasi-)Julian date in `scale`. [d]
    scale : str
        A TIMESYS value: UTC, TT, TDB, ET, TAI, GPS or UT1. A realization in brackets, as in
        ``TT(TAI)``, is ignored. UT1 counts as UTC (within 0.9 s) and ET as TT.

    Returns
    -------
    tuple of float
        Two-part quasi-Julian date, UTC. [d]

    Raises
    ------
    InputError
        Another scale, or a local time.

    References
    ----------
    .. [1] FITS Standard 4.0, section 9.2.1, table 30 (from memory).
    """
    kind = _SCALES.get(re.sub(r"\(.*\)", "", scale).strip().upper())
    if kind is None:
        raise InputError(f"time scale '{printable(scale, 20)}' is not one of UTC, TT, TDB, ET, TAI, GPS, UT1")
    if kind == "UTC":
        return jd
    day, part = jd
    if kind == "TDB":
        # TT where TDB is wanted errs by under 2 ms, which changes the difference by under 1 ns
        part -= float(erfa.dtdb(day, part, 0.0, 0.0, 0.0, 0.0)) / 86400.0
    if kind in ("TT", "TDB"):
        day, part, _ = erfa.ufunc.tttai(day, part)
    if kind == "GPS":
        part += _GPS_BEHIND_TAI_S / 86400.0
    return _utc_from_tai(day, part)


def seconds_between(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the time from one moment to another, leap seconds counted.

    Parameters
    ----------
    a, b : tuple of float
        Two-part quasi-Julian dates, UTC. [d]

    Returns
    -------
    float
        Positive if `b` is later. [s]
    """
    a1, a2, _ = erfa.ufunc.utctai(*a)
    b1, b2, _ = erfa.ufunc.utctai(*b)
    return float((b1 - a1) + (b2 - a2)) * 86400.0


def add_seconds(utc: tuple[float, float], s: float) -> tuple[float, float]:
    """Return the moment that is some seconds later, leap seconds counted.

    Parameters
    ----------
    utc : tuple of float
        Two-part quasi-Julian date, UTC. [d]
    s : float
        SI seconds to add; negative for an earlier moment. [s]

    Returns
    -------
    tuple of float
        Two-part quasi-Julian date, UTC. [d]
    """
    if s == 0:
        return utc
    day, part, _ = erfa.ufunc.utctai(*utc)
    return _utc_from_tai(day, part + s / 86400.0)


def _utc_from_tai(day: float, part: float) -> tuple[float, float]:
    # not the checked wrapper: it warns about years beyond the table of leap seconds
    utc1, utc2, status = erfa.ufunc.taiutc(day, part)
    if status < 0:
        raise InputError("the date is outside the calendar")
    return float(utc1), float(utc2)
