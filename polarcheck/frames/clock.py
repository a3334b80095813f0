"""What is stated of the clock behind the headers, and whether what the file says of it agrees."""

from __future__ import annotations

import re
from dataclasses import dataclass

from polarcheck import times
from polarcheck.errors import InputError, Notice
from polarcheck.frames.cards import Cards, UnusableError

__all__ = ["RIGHT_CLOCK", "Clock", "clock_notices", "gps_agrees", "is_local", "zone_hint"]

_OFFSET = re.compile(r"([+-])(\d{2}):(\d{2})\Z", re.ASCII)
_TWICE_S = 60.0
_GPS_APART_S = 900.0  # a fix may be some minutes old
_QUARTER_S = 900.0  # zones differ from UTC by whole quarters of an hour
_NEAR_S = 120.0


@dataclass(frozen=True, slots=True)
class Clock:
    """What is stated of the clock behind the headers.

    Attributes
    ----------
    ahead_s : float
        By how much it was ahead of UTC; where the time zone is known, ahead of the right time there. [s]
    zone : str or None
        Time zone of local times that do not name theirs.

    Raises
    ------
    ParameterError
        No such zone.
    """

    ahead_s: float = 0.0
    zone: str | None = None

    def __post_init__(self) -> None:
        if self.zone is not None:
            times.check_zone(self.zone)


RIGHT_CLOCK = Clock()
"""Nothing is stated."""


def is_local(cards: Cards) -> bool:
    """Whether the times are local, with no word of the zone."""
    try:
        return (cards.text("TIMESYS") or "").upper() == "LOCAL"
    except UnusableError:
        return False


def zone_hint(cards: Cards) -> str:
    """Return what time zone the time of a GPS receiver in the camera would fit, in brackets, or nothing."""
    clock, gps = (_moment(cards, keyword) for keyword in ("DATE-BEG", "GPS-TIME"))
    if clock is None or gps is None:
        return ""
    ahead = times.seconds_between(gps, clock)
    quarters = round(ahead / _QUARTER_S)
    if abs(ahead - quarters * _QUARTER_S) > _NEAR_S or abs(quarters) > 56:
        return ""
    hours, rest = divmod(abs(quarters), 4)
    return (
        f" (the time of its GPS receiver would fit {'-' if quarters < 0 else '+'}{hours:02d}:{15 * rest:02d})"
    )


def clock_notices(cards: Cards, clock: Clock, utc: tuple[float, float]) -> tuple[Notice, ...]:
    """Return where what was stated, and what the file says of its clock, contradict each other.

    Parameters
    ----------
    cards : Cards
    clock : Clock
    utc : tuple of float
        The mid-exposure that follows. [d]
    """
    found = [_twice(cards, clock, utc), _gps(cards, utc)]
    return tuple(notice for notice in found if notice is not None)


def _twice(cards: Cards, clock: Clock, utc: tuple[float, float]) -> Notice | None:
    zone = _zone_s(cards, clock, utc) if clock.ahead_s else 0.0
    if not zone or abs(zone - clock.ahead_s) > _TWICE_S:
        return None
    text = (
        f"The time zone already puts the clock {zone / 3600:+g} h from UTC, and as much again was taken off as stated: "
        "state one of them only."
    )
    return Notice("zone-twice", text, ("clock_ahead_s", "zone"))


def _zone_s(cards: Cards, clock: Clock, utc: tuple[float, float]) -> float:
    if not is_local(cards):
        said = None if cards.are_fits else _OFFSET.search(cards.text("DATE-BEG") or "")
        if said is None:
            return 0.0
        return (int(said[2]) * 3600.0 + int(said[3]) * 60.0) * (-1 if said[1] == "-" else 1)
    # the rules of a zone at UTC instead of its own time are those of the same day nearly always
    try:
        return times.zone_ahead_s(clock.zone, utc) if clock.zone is not None else 0.0
    except InputError:
        return 0.0


def gps_agrees(cards: Cards, utc: tuple[float, float]) -> bool:
    """Whether the time of a GPS receiver in the camera confirms a mid-exposure to a quarter of an hour."""
    gps = _moment(cards, "GPS-TIME")
    return gps is not None and abs(times.seconds_between(gps, utc)) <= _GPS_APART_S


def _gps(cards: Cards, utc: tuple[float, float]) -> Notice | None:
    gps = _moment(cards, "GPS-TIME")
    if gps is None or gps_agrees(cards, utc):
        return None
    apart = times.seconds_between(gps, utc)
    long = f"{abs(apart) / 3600:.1f} h" if abs(apart) > 5400 else f"{abs(apart) / 60:.0f} min"
    text = (
        f"By clock and zone a frame was taken {long} {'after' if apart > 0 else 'before'} the time that the camera's GPS "
        f"receiver gave, {times.iso_from_utc(gps)}: the zone or the clock is wrong"
        f"{', unless that time was an old one' if apart > 0 else ''}. An hour turns the split into azimuth and altitude by "
        "15 deg."
    )
    return Notice("gps-time", text, ("zone", "clock_ahead_s"))


def _moment(cards: Cards, keyword: str) -> tuple[float, float] | None:
    try:
        text = cards.text(keyword)
        return None if text is None else times.utc_from_iso(text)
    except (InputError, UnusableError):
        return None
