"""What headers say of where the telescope pointed: sidereal time, hour angle, altitude and azimuth.

No keyword of these is in the FITS Standard (common practice, no source). They serve to judge the site, never as a
measurement: any of them may be stale or wrong.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from polarcheck.errors import InputError
from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.site import parse_angle

__all__ = ["TelescopeCards", "telescope_cards"]

_SIDEREAL_TIMES = ("LST", "LST-OBS", "SIDEREAL", "SIDTIME", "ST")
_HOUR_ANGLES = ("HA", "OBJCTHA", "HOURANG")
_ALTITUDES = ("OBJCTALT", "CENTALT", "TELALT", "ALT")
_AZIMUTHS = ("OBJCTAZ", "CENTAZ", "TELAZ", "AZIMUTH", "AZ")


@dataclass(frozen=True, slots=True)
class TelescopeCards:
    """Where the telescope pointed, as its header has it; None where it does not say.

    Attributes
    ----------
    sidereal_time_deg : float or None
        Local sidereal time. [deg]
    hour_angle_deg : float or None
        Westward positive. [deg]
    altitude_deg, azimuth_deg : float or None
        [deg]
    """

    sidereal_time_deg: float | None
    hour_angle_deg: float | None
    altitude_deg: float | None
    azimuth_deg: float | None


def telescope_cards(cards: Cards) -> TelescopeCards | None:
    """Return what the header says of where the telescope pointed, None where it says nothing."""
    sidereal, hour_angle = (_first(cards, names, in_hours=True) for names in (_SIDEREAL_TIMES, _HOUR_ANGLES))
    altitude, azimuth = (_first(cards, names, in_hours=False) for names in (_ALTITUDES, _AZIMUTHS))
    if sidereal is None and hour_angle is None and (altitude is None or azimuth is None):
        return None
    return TelescopeCards(sidereal, hour_angle, altitude, azimuth)


def _first(cards: Cards, keywords: tuple[str, ...], *, in_hours: bool) -> float | None:
    for keyword in keywords:
        try:
            value = cards.value(keyword)
            if value is None or isinstance(value, bool):
                continue
            text = value.replace("h", ":") if isinstance(value, str) else value
            angle = parse_angle(text)
        except (InputError, UnusableError):
            continue
        if in_hours and not re.search(r"\bdeg", cards.comment(keyword), re.IGNORECASE):
            angle *= 15
        if abs(angle) <= 360:
            return angle
    return None
