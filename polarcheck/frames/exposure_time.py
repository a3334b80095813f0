"""The middle of the exposure, from the several ways in which headers tell it."""

from __future__ import annotations

import re

from polarcheck import times
from polarcheck.errors import InputError, Notice
from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.frames.clock import RIGHT_CLOCK, Clock, clock_notices, is_local, zone_hint
from polarcheck.frames.written_numbers import hours_of, seconds_of
from polarcheck.printable import printable

__all__ = ["mid_exposure"]

_MEANS = ("DATE-AVG", "MJD-AVG")
# those of the Standard first; JD-OBS, JD and MJD are none of its keywords (common practice, no source)
_STARTS = ("DATE-BEG", "MJD-BEG", "DATE-OBS", "MJD-OBS", "JD-OBS", "JD", "MJD")
_CLOCKS = ("TIME-OBS", "UT", "UTC", "UTC-OBS", "UT-OBS", "UTSTART", "UTCSTART", "UT-START")
_LENGTHS = ("XPOSURE", "EXPOSURE", "EXPTIME", "TELAPSE", "EXP", "EXPOINUS")
_LONGEST_S = 86400.0
_FIRST_JD, _LAST_JD = 2436934.5, 2488434.5  # 1960-01-01 and 2101-01-01
_OLD_DATE = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{2}(?:\d{2})?)(?![\d/])(.*)", re.ASCII)
_SLASHED_DATE = re.compile(r"(\d{4})/(\d{1,2})/(\d{1,2})(?!\d)(.*)", re.ASCII)
_DATE_ONLY = re.compile(r"\d{4}-\d{1,2}-\d{1,2}", re.ASCII)
_OLD_FORM_BEGAN = 60  # the Standard's old form stands for 19yy; nothing before 1960 is read


def mid_exposure(
    cards: Cards, clock: Clock = RIGHT_CLOCK
) -> tuple[tuple[float, float], float | None, tuple[Notice, ...]]:
    """Return the middle of the exposure.

    Parameters
    ----------
    cards : Cards
        The frame's cards.
    clock : Clock
        What is stated of the clock behind the header.

    Returns
    -------
    tuple of float
        Mid-exposure, two-part quasi-Julian date, UTC. [d]
    float or None
        Length of the exposure. [s]
    tuple of Notice

    Raises
    ------
    UnusableError
        No time, or an impossible one.

    References
    ----------
    .. [1] FITS Standard 4.0, sections 4.4.2.2 and 9.5 to 9.6 (from memory).
    """
    scale = _scale(cards, clock)
    length = _length(cards)
    faults: list[UnusableError] = []
    notices: tuple[Notice, ...] = ()
    utc = _first(cards, (*_MEANS, *_middle_days(cards)), scale, faults)
    if utc is None:
        start = _first(cards, _STARTS, scale, faults)
        if start is None:
            raise faults[0] if faults else UnusableError(_NO_TIME if cards.are_fits else _NO_EXIF_TIME)
        half = _half(cards, scale, start, length)
        utc = times.add_seconds(start, half or 0.0)
        if half is None:
            notices = (_unknown_length(),)
    utc = times.add_seconds(utc, -clock.ahead_s)
    if clock.zone is not None and is_local(cards):
        utc = times.add_seconds(utc, -_zone_ahead_s(clock.zone, utc))
    if not _FIRST_JD <= utc[0] + utc[1] < _LAST_JD:
        raise UnusableError("its date is impossible (outside 1960 to 2100): was the clock set?")
    return utc, length, (*notices, *clock_notices(cards, clock, utc))


_NO_EXIF_TIME = "its EXIF holds no time of exposure (DateTimeOriginal), or a clock that was not set"
_NO_TIME = f"its header holds no time of exposure (none of {', '.join(_MEANS + _STARTS)})"


def _unknown_length() -> Notice:
    text = (
        "The header does not say how long the exposure was, so its middle is taken at its start. Each second "
        "of it turns the frame by 15.04 arcsec about the pole, the same for all equal exposures."
    )
    return Notice("exposure-unknown", text)


def _scale(cards: Cards, clock: Clock) -> str:
    if not is_local(cards):
        return (cards.text("TIMESYS") or "UTC").upper()
    if clock.zone is None and clock.ahead_s == 0:
        where = "its times are local (TIMESYS LOCAL)" if cards.are_fits else "its EXIF names no time zone"
        raise UnusableError(
            f"{where}: state the zone of that clock{zone_hint(cards)}",
            ("zone", "clock_ahead_s"),
        )
    return "UTC"


def _zone_ahead_s(zone: str, local: tuple[float, float]) -> float:
    try:
        return times.zone_ahead_s(zone, local)
    except InputError as error:
        raise UnusableError(str(error), error.parameters) from error


def _length(cards: Cards) -> float | None:
    for keyword in _LENGTHS:
        if (length := _positive(cards, keyword)) is not None:
            return length
    return None


def _positive(cards: Cards, keyword: str) -> float | None:
    try:
        text = cards.text(keyword)
        seconds = None if text is None else seconds_of(text, cards.comment(keyword))
    except (UnusableError, ValueError, OverflowError):
        return None
    if seconds is not None and keyword == "EXPOINUS":
        seconds *= 1e-6
    return seconds if seconds is not None and 0 < seconds <= _LONGEST_S else None


def _half(cards: Cards, scale: str, start: tuple[float, float], length: float | None) -> float | None:
    if "DATE-BEG" in cards and "DATE-END" in cards and (end := _instant(cards, "DATE-END", scale)):
        whole = times.seconds_between(start, end)
        if not 0 <= whole <= _LONGEST_S:
            raise UnusableError("its DATE-END is not within a day after its DATE-BEG")
        return whole / 2
    # half of the wall-clock time is the middle also where the shutter closed in between
    wall_clock = _positive(cards, "TELAPSE")
    whole_or_none = wall_clock if wall_clock is not None else length
    return None if whole_or_none is None else whole_or_none / 2


def _first(
    cards: Cards, keywords: tuple[str, ...], scale: str, faults: list[UnusableError]
) -> tuple[float, float] | None:
    for keyword in keywords:
        try:
            if (utc := _instant(cards, keyword, scale)) is not None:
                return utc
        except UnusableError as fault:
            faults.append(fault)
    return None


def _instant(cards: Cards, keyword: str, scale: str) -> tuple[float, float] | None:
    if keyword not in cards:
        return None
    try:
        if "JD" in keyword:
            return _from_day(cards, keyword, scale)
        text = cards.text(keyword)
        return None if text is None else times.to_utc(_date(cards, keyword, text), scale)
    except InputError as error:
        raise UnusableError(f"its {keyword if cards.are_fits else 'EXIF time'}: {error}") from error


def _middle_days(cards: Cards) -> tuple[str, ...]:
    """Julian dates whose comment says that they are the middle of the exposure."""
    said = ((keyword, cards.comment(keyword)) for keyword in ("JD-OBS", "JD", "MJD") if keyword in cards)
    return tuple(keyword for keyword, comment in said if re.search(r"\bmid", comment, re.IGNORECASE))


def _from_day(cards: Cards, keyword: str, scale: str) -> tuple[float, float] | None:
    day = cards.number(keyword)
    if day is None:
        return None
    if re.search("helioc|baryc|solar system", cards.comment(keyword), re.IGNORECASE):
        raise UnusableError(f"its {keyword} is not the time at the site but at the Sun")
    return times.to_utc((2400000.5, day) if keyword.startswith("MJD") else (day, 0.0), scale)


def _date(cards: Cards, keyword: str, text: str) -> tuple[float, float]:
    text = _iso(keyword, text)
    if not _DATE_ONLY.fullmatch(text):
        return times.utc_from_iso(text)
    for clock in _CLOCKS if keyword == "DATE-OBS" else ():
        if time_of_day := cards.text(clock):
            return _at(text, clock, time_of_day)
    nor = ", ".join(_CLOCKS)
    raise UnusableError(
        f"its {keyword} '{printable(text, 20)}' holds a date but no time of day (nor do {nor})"
    )


def _at(date: str, clock: str, time_of_day: str) -> tuple[float, float]:
    if re.match(r"\d{4}[-/]", time_of_day):
        return times.utc_from_iso(_iso(clock, time_of_day))
    try:
        hours = hours_of(time_of_day)
    except ValueError:
        return times.utc_from_iso(f"{date}T{time_of_day}")  # which says what is wrong with it
    return times.add_seconds(times.utc_from_iso(f"{date}T00:00:00"), hours * 3600)


def _iso(keyword: str, text: str) -> str:
    """Write a date as ISO 8601 has it, where it can mean but one day."""
    if slashed := _SLASHED_DATE.fullmatch(text):
        text = f"{slashed[1]}-{slashed[2]}-{slashed[3]}{slashed[4]}"
    elif old := _OLD_DATE.fullmatch(text):
        text = _from_old_form(keyword, text, *old.groups())
    return re.sub(r"(:\d{2}),(?=\d)", r"\1.", text)


def _from_old_form(keyword: str, text: str, first: str, second: str, year: str, rest: str) -> str:
    if len(year) == 2 and int(year) >= _OLD_FORM_BEGAN:
        # dd/mm/yy of the 20th century (FITS Standard 4.0, section 4.4.2.1; from memory)
        return f"19{year}-{int(second):02d}-{int(first):02d}{rest}"
    if len(year) == 4 and (int(first) > 12 or first == second):
        return f"{year}-{int(second):02d}-{int(first):02d}{rest}"
    if len(year) == 4 and int(second) > 12:
        return f"{year}-{int(first):02d}-{int(second):02d}{rest}"
    raise UnusableError(
        f"its {keyword} '{printable(text, 20)}' is ambiguous: which is the day, the month, the year? Have it "
        "written as 2026-11-14T20:13:45"
    )
