"""East or west? What else the headers say of where the telescope pointed decides on the longitude's sign.

Some programs count longitude positive westward and do not say so. Sidereal time, hour angle, and altitude with
azimuth then fit the other sign. Each may be wrong by itself, so they vote.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.errors import Notice
from polarcheck.frames import SENSOR_WEIGHTS, Frame, TelescopeCards
from polarcheck.site import Site
from polarcheck.sky import AIRLESS, Sky, sun_altitude_deg
from polarcheck.vectors import Array, direction_from_azalt, unit

__all__ = ["site_by_votes"]

_MOST_FRAMES = 9
_FITS_DEG = 2.5  # of sidereal time and hour angle: ten minutes of clock, or a site at the next town
_FITS_ON_SKY_DEG = 5.0  # of altitude and azimuth, which hold the error of the axis and of the pointing
_DARK_DEG = -2.0


def site_by_votes(frames: Sequence[Frame], site: Site) -> tuple[Site, list[Notice]]:
    """Return the site, with the longitude's other sign where most of the other cards fit that.

    Parameters
    ----------
    frames : sequence of Frame
        With what their headers say of where the telescope pointed.
    site : Site
        As the headers name it.

    Returns
    -------
    Site
    list of Notice
        Which was followed, where the cards do not all agree with the headers' site.
    """
    other = Site(site.latitude_deg, -site.longitude_deg, site.height_m, f"{site.source}, west positive")
    some = [frame for frame in frames if frame.telescope is not None]
    some = some[:: max(1, len(some) // _MOST_FRAMES)]
    if not some or abs((2 * site.longitude_deg + 180) % 360 - 180) < 2 * _FITS_DEG:
        return site, []
    votes = {name: (_fits(judge, some, site), _fits(judge, some, other)) for name, judge in _JUDGES.items()}
    dark = tuple(_is_dark(some, place) for place in (site, other))
    for_site = [name for name, fits in votes.items() if fits == (True, False)]
    for_other = [name for name, fits in votes.items() if fits == (False, True)]
    if not for_other:
        return site, []
    sun = ["the Sun"] if dark[0] != dark[1] else []
    for_site, for_other = (for_site + sun, for_other) if dark[0] else (for_site, for_other + sun)
    if len(for_other) > len(for_site):
        return other, [_notice(site, other, for_other, for_site)]
    return site, [_notice(site, site, for_site, for_other)]


def _notice(site: Site, taken: Site, supporters: list[str], others: list[str]) -> Notice:
    against = f"; {' and '.join(others)} would fit {-taken.longitude_deg:.3f}" if others else ""
    because = f"{', '.join(supporters)} fit that" if supporters else "the header names it"
    return Notice(
        "longitude-sign",
        f"The header's longitude {site.longitude_deg:.3f} deg is taken as {abs(taken.longitude_deg):.3f} deg "
        f"{'west' if taken.longitude_deg < 0 else 'east'} of Greenwich: {because}{against}. Name the site if that is wrong.",
        ("site",),
    )


def _fits(
    judge: Callable[[TelescopeCards, Array, Array, Site], float | None], frames: list[Frame], site: Site
) -> bool | None:
    """Whether most frames' cards of one kind fit a site; None where no frame has them."""
    found = []
    for frame in frames:
        assert frame.telescope is not None
        centre = unit(SENSOR_WEIGHTS @ frame.sky)
        seen = Sky(site, AIRLESS).observed(centre[None, None], np.array([frame.utc]))[0, 0]
        if (off := judge(frame.telescope, seen, centre, site)) is not None:
            found.append(off < 1.0)
    return None if not found else bool(np.mean(found) > 0.5)


def _hour_angle_deg(seen: Array, site: Site) -> float:
    east, north, up = seen
    latitude = site.latitude_deg * DEGREE
    return float(np.arctan2(-east, up * np.cos(latitude) - north * np.sin(latitude)) / DEGREE)


def _apart(a_deg: float, b_deg: float) -> float:
    return abs((a_deg - b_deg + 180) % 360 - 180)


def _sidereal_time(said: TelescopeCards, seen: Array, centre: Array, site: Site) -> float | None:
    if said.sidereal_time_deg is None:
        return None
    right_ascension = float(np.arctan2(centre[1], centre[0]) / DEGREE)
    return _apart(said.sidereal_time_deg, _hour_angle_deg(seen, site) + right_ascension) / _FITS_DEG


def _hour_angle(said: TelescopeCards, seen: Array, centre: Array, site: Site) -> float | None:
    if said.hour_angle_deg is None:
        return None
    return _apart(said.hour_angle_deg, _hour_angle_deg(seen, site)) / _FITS_DEG


def _altitude_and_azimuth(said: TelescopeCards, seen: Array, centre: Array, site: Site) -> float | None:
    if said.altitude_deg is None or said.azimuth_deg is None:
        return None
    pointed = direction_from_azalt(said.azimuth_deg * DEGREE, said.altitude_deg * DEGREE)
    return float(np.arccos(np.clip(pointed @ seen, -1, 1)) / DEGREE) / _FITS_ON_SKY_DEG


_JUDGES: dict[str, Callable[[TelescopeCards, Array, Array, Site], float | None]] = {
    "sidereal time": _sidereal_time,
    "hour angle": _hour_angle,
    "altitude and azimuth": _altitude_and_azimuth,
}


def _is_dark(frames: list[Frame], site: Site) -> bool:
    return bool(np.median(sun_altitude_deg(np.array([frame.utc for frame in frames]), site)) < _DARK_DEG)
