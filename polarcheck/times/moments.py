"""Moments as people at a mount say them: now, 20:30, or a whole date."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.times.utc import add_seconds, iso_from_utc, seconds_between, utc_from_iso
from polarcheck.times.zones import zone_ahead_s

__all__ = ["clock_now", "moment_from", "shown_in_zone"]

_CLOCK = re.compile(r"(?P<hour>[01]?\d|2[0-3]):(?P<minute>[0-5]\d)(?::(?P<second>[0-5]\d))?", re.ASCII)
_DAY_S = 86400.0
_BACK_S = (
    6 * 3600.0
)  # a clock time means the one from 6 h ago to 18 h ahead: this evening's, also after midnight


def clock_now() -> tuple[float, float]:
    """Return what this computer's clock shows, two-part quasi-Julian date, UTC. [d]"""
    return utc_from_iso(datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S"))


def moment_from(
    text: str, zone: str | None = None, now: tuple[float, float] | None = None
) -> tuple[float, float]:
    """Read a moment.

    Parameters
    ----------
    text : str
        ``now``; a time of day such as ``20:30``, the one from 6 h ago to 18 h ahead; or a date with it,
        ``2026-11-14T20:30``, UTC unless an offset follows.
    zone : str, optional
        In which a time of day counts, as for `check_zone`; UTC unless given.
    now : tuple of float, optional
        Two-part quasi-Julian date, UTC; this computer's clock unless given. [d]

    Returns
    -------
    tuple of float
        Two-part quasi-Julian date, UTC. [d]

    Raises
    ------
    InputError
        None of these; or a time of day that clocks of the zone show twice or never.
    """
    said = text.strip()
    now = clock_now() if now is None else now
    if said.lower() == "now":
        return now
    clock = _CLOCK.fullmatch(said)
    if clock is not None:
        return _of_day(clock, zone or "UTC", now)
    try:
        return utc_from_iso(said)
    except InputError as error:
        if re.match(
            r"\s*[+-]?\d{4,5}-\d", said, re.ASCII
        ):  # a date, and the reader of dates knows what is wrong
            raise
        raise InputError(
            f"'{printable(text, 40)}' is no time; write 20:30, now, or for example 2026-11-14T20:13:45"
        ) from error


def _of_day(clock: re.Match[str], zone: str, now: tuple[float, float]) -> tuple[float, float]:
    """The moment of yesterday, today or tomorrow by that zone which is nearest to the evening."""
    time = f"{int(clock['hour']):02d}:{clock['minute']}:{clock['second'] or '00'}"
    for days in (-1, 0, 1, 2):
        date = iso_from_utc(add_seconds(now, days * _DAY_S))[:10]
        local = utc_from_iso(f"{date}T{time}")
        found = add_seconds(local, -zone_ahead_s(zone, local))
        if -_BACK_S <= seconds_between(now, found) < _DAY_S - _BACK_S:
            return found
    raise InputError(f"{time} does not come within a day in the time zone {printable(zone, 60)}")


def shown_in_zone(utc: tuple[float, float], zone: str | None = None) -> str:
    """Write a moment in UTC, and in a zone where one is given: ``2026-11-14T19:30:00 UTC, 20:30 in Europe/Vienna``."""
    text = f"{iso_from_utc(utc)[:19]} UTC"
    if zone is None or zone.upper() in ("UTC", "Z"):
        return text
    local = add_seconds(utc, zone_ahead_s(zone, utc))  # good enough to find the local time, then exact
    local = add_seconds(utc, zone_ahead_s(zone, local))
    return f"{text}, {iso_from_utc(local)[11:16]} in {printable(zone, 60)}"
