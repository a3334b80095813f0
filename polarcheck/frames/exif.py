"""What a camera wrote of time, place and lens (EXIF), as the header cards that the rest of the room reads.

Every value is distrusted: text goes on only where it has the form that the standard gives it, a number only where it is
finite and possible.

References
----------
.. [1] CIPA DC-008, Exif 2.32, sections 4.6.5 and 4.6.6 (from memory).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from polarcheck.errors import Notice

__all__ = ["GPS_TAGS", "TAGS", "card", "exif_cards", "exif_notices"]

TAGS = {
    0x829A: "ExposureTime",
    0x9003: "DateTimeOriginal",
    0x9004: "DateTimeDigitized",
    0x9011: "OffsetTimeOriginal",
    0x9012: "OffsetTimeDigitized",
    0x9201: "ShutterSpeedValue",
    0x920A: "FocalLength",
    0x9291: "SubSecTimeOriginal",
    0x9292: "SubSecTimeDigitized",
    0xA20E: "FocalPlaneXResolution",
    0xA210: "FocalPlaneResolutionUnit",
}
"""Of exposure and lens, by number."""

GPS_TAGS = {
    1: "GPSLatitudeRef",
    2: "GPSLatitude",
    3: "GPSLongitudeRef",
    4: "GPSLongitude",
    5: "GPSAltitudeRef",
    6: "GPSAltitude",
    7: "GPSTimeStamp",
    29: "GPSDateStamp",
}
"""Of place, by number."""

_DATE = re.compile(
    r"(\d{4})[:/.-](\d{2})[:/.-](\d{2})[ T](\d{2}):(\d{2}):(\d{2})(?:[.,](\d{1,9}))?(Z|[+-]\d{2}:\d{2})?",
    re.A,
)
_OFFSET = re.compile(r"(?:Z|[+-]\d{2}:\d{2})", re.ASCII)
_GPS_DATE = re.compile(r"(\d{4})[:/.-](\d{2})[:/.-](\d{2})", re.ASCII)
_LONGEST_S = 86400.0
_UNITS_UM = {2.0: 25_400.0, 3.0: 10_000.0, 4.0: 1_000.0}
_WAYS = (("DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal"),
         ("DateTimeDigitized", "SubSecTimeDigitized", "OffsetTimeDigitized"))  # fmt: skip


def exif_cards(tags: Mapping[str, Any]) -> dict[str, bytes]:
    """Return the cards that EXIF tags stand for.

    Parameters
    ----------
    tags : mapping of str to object
        Values by the standard's names, whatever a reader made of them.

    Returns
    -------
    dict of str to bytes
        DATE-BEG with TIMESYS (LOCAL where EXIF names no time zone), XPOSURE; FOCALLEN and XPIXSZ, which serve as hints only:
        a lens without contacts leaves the camera guessing; and EXIF's own GPS-LAT, GPS-LON,
        GPS-ALT, GPS-TIME; SUBSEC says that the time has a fraction of a second, EXIF that these are no FITS cards.
    """
    cards = {"EXIF": card("EXIF", True)} | _time(tags)
    for keyword, value in (
        ("XPOSURE", _exposure_s(tags)),
        ("FOCALLEN", _positive(tags.get("FocalLength"), 1e5)),
        ("XPIXSZ", _pixel_size_um(tags)),
    ):
        if value is not None:
            cards[keyword] = card(keyword, value)
    return cards | _place(tags) | _gps_time(tags)


def exif_notices(cards: Mapping[str, bytes]) -> tuple[Notice, ...]:
    """Return what is doubtful about the time in EXIF."""
    if "DATE-BEG" not in cards or "SUBSEC" in cards:
        return ()
    text = (
        "The camera counts whole seconds, so a time may be up to a second early. That turns the split into azimuth and "
        "altitude by at most 0.004 deg, which is 0.00007 of the error; a clock off by a minute costs 60 times that."
    )
    return (Notice("whole-seconds", text),)


def card(keyword: str, value: str | float | bool) -> bytes:
    """Return a card of 80 bytes in fixed format; text must be printable ASCII."""
    if isinstance(value, bool):
        written = f"{'T' if value else 'F':>20}"
    elif isinstance(value, str):
        written = "'" + value.replace("'", "''")[:66] + "'"
    else:
        written = f"{value:>20.10f}"
    return f"{keyword:<8}= {written}".ljust(80).encode("ascii")


def _time(tags: Mapping[str, Any]) -> dict[str, bytes]:
    for date_name, fraction_name, offset_name in _WAYS:
        match = _DATE.fullmatch(_text(tags.get(date_name)))
        if match is None or match[1] == "0000":  # a clock that was not set
            continue
        fraction = match[7] or _text(tags.get(fraction_name))
        if not (fraction.isascii() and fraction.isdigit()) or not int(fraction):
            fraction = ""
        offset = match[8] or _text(tags.get(offset_name))
        if not _OFFSET.fullmatch(offset):
            offset = ""
        moment = f"{'-'.join(match.groups()[:3])}T{':'.join(match.groups()[3:6])}"
        written = f"{moment}{'.' + fraction[:9] if fraction else ''}{offset}"
        cards = {"DATE-BEG": card("DATE-BEG", written)}
        if fraction:
            cards["SUBSEC"] = card("SUBSEC", True)
        return cards | {"TIMESYS": card("TIMESYS", "UTC" if offset else "LOCAL")}
    return {}


def _exposure_s(tags: Mapping[str, Any]) -> float | None:
    length = _positive(tags.get("ExposureTime"), _LONGEST_S)
    apex = _number(tags.get("ShutterSpeedValue"))
    if length is None and apex is not None and -16 <= apex <= 20:
        length = 2.0**-apex
    return length


def _pixel_size_um(tags: Mapping[str, Any]) -> float | None:
    """Pixels along a length of the focal plane; the length is an inch unless said otherwise."""
    resolution = _positive(tags.get("FocalPlaneXResolution"), 1e6)
    length_um = _UNITS_UM.get(_number(tags.get("FocalPlaneResolutionUnit")) or 2.0)
    if resolution is None or length_um is None:
        return None
    size = length_um / resolution
    return size if 0.5 <= size <= 100 else None


def _place(tags: Mapping[str, Any]) -> dict[str, bytes]:
    latitude, longitude = (
        _angle(tags, name, signs) for name, signs in (("GPSLatitude", "NS"), ("GPSLongitude", "EW"))
    )
    if latitude is None or longitude is None:
        return {}
    cards = {"GPS-LAT": card("GPS-LAT", latitude), "GPS-LON": card("GPS-LON", longitude)}
    height = _number(tags.get("GPSAltitude"))
    if height is not None:
        below = _text(tags.get("GPSAltitudeRef")) in ("1", "\x01") or tags.get("GPSAltitudeRef") in (
            1,
            b"\x01",
        )
        cards["GPS-ALT"] = card("GPS-ALT", -height if below else height)
    return cards


def _angle(tags: Mapping[str, Any], name: str, signs: str) -> float | None:
    parts = _numbers(tags.get(name), 3)
    sign = _text(tags.get(f"{name}Ref")).upper()
    if parts is None or sign not in tuple(signs):
        return None
    size = parts[0] + parts[1] / 60 + parts[2] / 3600
    if not 0 <= size <= (90 if signs == "NS" else 180):
        return None
    return -size if sign == signs[1] else size


def _gps_time(tags: Mapping[str, Any]) -> dict[str, bytes]:
    date = _GPS_DATE.fullmatch(_text(tags.get("GPSDateStamp")))
    clock = _numbers(tags.get("GPSTimeStamp"), 3)
    if (
        date is None
        or clock is None
        or not (0 <= clock[0] < 24 and 0 <= clock[1] < 60 and 0 <= clock[2] < 60)
    ):
        return {}
    hours, minutes, seconds = (int(part) for part in clock)
    return {
        "GPS-TIME": card("GPS-TIME", f"{'-'.join(date.groups())}T{hours:02d}:{minutes:02d}:{seconds:02d}")
    }


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    return value.strip(" \0\t\r\n")[:80] if isinstance(value, str) else ""


def _number(value: Any) -> float | None:
    if isinstance(value, (str, bytes, bool)) or value is None:
        return None
    try:
        number = float(value[0] if isinstance(value, (tuple, list)) else value)
    except (TypeError, ValueError, ArithmeticError, IndexError):
        return None
    return number if math.isfinite(number) else None


def _positive(value: Any, most: float) -> float | None:
    number = _number(value)
    return number if number is not None and 0 < number <= most else None


def _numbers(value: Any, count: int) -> list[float] | None:
    if not isinstance(value, (tuple, list)) or len(value) != count:
        return None
    numbers = [number for number in map(_number, value) if number is not None]
    return numbers if len(numbers) == count else None
