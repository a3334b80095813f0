"""Numbers as real headers write them: in quotes, with a decimal comma, with a unit, as hours and minutes.

None of these is in the FITS Standard, which has plain numbers with a decimal point; they occur (common
practice, no source).
"""

from __future__ import annotations

import re

__all__ = ["PLAIN_TEXT", "AmbiguousNumberError", "hours_of", "number_of", "numeric_card", "seconds_of"]

_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+(?:[EeDd][+-]?\d{1,3})?", re.ASCII)
_NUMBER = re.compile(rb"[+-]?(?:\d+\.?\d*|\.\d+)(?:[ED][+-]?\d{1,3})?\Z")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
_WITH_UNIT = re.compile(
    r"(?P<number>[+-]?[\d.,]+(?:[EeDd][+-]?\d{1,3})?)\s*(?P<unit>[a-zµμ]*)\.?", re.ASCII | re.I
)
_UNIT_IN_COMMENT = re.compile(r"\s*[\[(]\s*(?P<unit>[a-zµμ]+)\s*[\])]", re.I)
_UNIT_S = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), 1e-3),
    **dict.fromkeys(("us", "µs", "μs", "usec", "microsecond", "microseconds"), 1e-6),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), 60.0),
    **dict.fromkeys(("h", "hr", "hour", "hours"), 3600.0),
}
_CLOCK = re.compile(
    r"(?P<hours>\d{1,2})\s*[:h ]\s*(?P<minutes>\d{1,2})(?:\s*[:m ]\s*(?P<seconds>\d{1,2}(?:[.,]\d*)?)?\s*s?)?",
    re.ASCII | re.I,
)
_DECIMAL_HOURS = re.compile(r"\d{1,2}[.,]\d*", re.ASCII)

PLAIN_TEXT = re.compile(rb"[A-Z0-9_ -]{8}= +([+-]?\d[\d.,:]*(?: ?[A-Za-z]{1,7})?) *(?:/.*)?\Z")
"""A value without quotes that is no number of the Standard: ``10,5``, ``20:13:45``, ``10 s``."""


class AmbiguousNumberError(ValueError):
    """A number that can be read in two ways."""


def number_of(text: str) -> float:
    """Read a number; a comma may stand for the decimal point, D for E.

    Raises
    ------
    AmbiguousNumberError
        Its comma may part thousands.
    ValueError
        No number.
    """
    bare = text.strip()
    if _DECIMAL_COMMA.fullmatch(bare):
        if _THOUSANDS.fullmatch(bare):
            raise AmbiguousNumberError("ambiguous: its comma may part thousands")
        bare = bare.replace(",", ".")
    return float(re.sub(r"(?<=[\d.])[dD](?=[+-]?\d)", "E", bare))


def seconds_of(text: str, comment: str = "") -> float:
    """Read a length of time with or without its unit. [s]

    Parameters
    ----------
    text : str
        ``"10"``, ``"10,5"``, ``"10 s"``, ``"500ms"``, ``"2 min"``.
    comment : str
        Of the card; a unit in brackets at its beginning holds (FITS Standard 4.0, section 4.3.2; from memory).

    Raises
    ------
    ValueError
        Neither, or a unit that is not one of time.
    """
    match = _WITH_UNIT.fullmatch(text.strip())
    if match is None:
        return number_of(text)
    unit = match["unit"].lower()
    if not unit and (said := _UNIT_IN_COMMENT.match(comment)):
        unit = said["unit"].lower() if said["unit"].lower() in _UNIT_S else ""
    if unit and unit not in _UNIT_S:
        raise ValueError(f"no unit of time: {unit}")
    return number_of(match["number"]) * (_UNIT_S[unit] if unit else 1.0)


def hours_of(text: str) -> float:
    """Read a time of day, sexagesimal or as decimal hours. [h]

    Raises
    ------
    ValueError
        Neither, or not within a day (a leap second may end it).
    """
    bare = re.sub(r"\s*(?:UTC?|Z)\Z", "", text.strip(), flags=re.I)
    if match := _CLOCK.fullmatch(bare):
        seconds = float((match["seconds"] or "0").replace(",", "."))
        hours, minutes = int(match["hours"]), int(match["minutes"])
        if hours > 23 or minutes > 59 or seconds >= 61:
            raise ValueError("no time of day")
        return hours + minutes / 60 + seconds / 3600
    if not _DECIMAL_HOURS.fullmatch(bare):
        raise ValueError("no time of day")
    hours_and_parts = float(bare.replace(",", "."))
    if not hours_and_parts < 24:
        raise ValueError("no time of day")
    return hours_and_parts


def numeric_card(keyword: bytes, card: bytes) -> bytes:
    """Return a card with its number as the Standard has it, where it stands in quotes or has a decimal comma."""
    value = card[10:].split(b"/")[0].strip()
    if not value.startswith(b"'") and b"," not in value:
        return card
    number = value.strip(b"'").strip().upper().replace(b",", b".")
    if not _NUMBER.match(number):
        return card
    return (keyword.ljust(8) + b"= " + number.rjust(20)).ljust(80)
