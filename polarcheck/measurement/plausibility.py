"""Do site, clock and sky agree? If not, which common mistake would explain it?

The size of the error hardly depends on site and clock, but its split into azimuth and altitude turns with
the hour angle, 15 deg an hour. So a site that puts frames below the horizon, or the Sun well above it, is
refused with the likely cause, and a Sun near the horizon is said.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polarcheck.errors import InputError, Notice
from polarcheck.frames import Frame
from polarcheck.measurement.pointings import Pointings
from polarcheck.site import Site
from polarcheck.sky import Epochs, sun_altitude_deg
from polarcheck.vectors import Array

__all__ = [
    "LOWEST_DEG",
    "likely_cause",
    "low_notice",
    "require_dark",
    "require_sky_above",
    "sun_notice",
    "too_low",
    "zone_notice",
]

LOWEST_DEG = 5.0
"""Altitude of a frame's centre below which it does not count: weather moves refraction there by some tens of
arcseconds, and the formula of ERFA is no longer one. [deg]"""

_DAYLIGHT_DEG = 3.0  # above this no site a degree off and no clock a few minutes off explains it
_LOW_DEG = 10.0  # below this refraction is uncertain
_SUN_UP_DEG = -2.0  # above this no stars are seen in a camera at night


def too_low(pointings: Pointings) -> list[str | None]:
    """Say of each frame why it stands too low to count, None for one that does not."""
    return [_too_low(float(altitude)) for altitude in pointings.altitudes_deg]


def _too_low(altitude_deg: float) -> str | None:
    if altitude_deg <= 0.0:
        return "looks below the horizon at that time: solved wrongly, or its clock is off"
    if altitude_deg < LOWEST_DEG:
        return (
            f"looks at {altitude_deg:.0f} deg of altitude, where refraction is too unsure: stay above 20 deg"
        )
    return None


def low_notice(observed: Array) -> list[Notice]:
    """Warn of frames in use that reach down to where refraction is uncertain: directions, shape (n, k, 3)."""
    lowest = float(np.degrees(np.arcsin(observed[..., 2].min())))
    if lowest >= _LOW_DEG:
        return []
    return [
        Notice(
            "low-altitude",
            f"A frame reaches down to {lowest:.0f} deg of altitude, where the real refraction may differ "
            "from the model by several arcsec. Frames above 20 deg are better.",
        )
    ]


def require_sky_above(pointings: Pointings) -> None:
    """Refuse a site and clock that put most frames below the horizon.

    Raises
    ------
    InputError
        More than half of the frames, or all but one, would look into the ground; the text names what would
        explain it.
    """
    above, site = pointings.above_horizon, pointings.site
    if np.count_nonzero(above) * 2 >= len(above) and np.count_nonzero(above) >= 2:
        return
    cause = likely_cause(pointings)
    raise InputError(
        f"with latitude {site.latitude_deg:.3f}, longitude {site.longitude_deg:.3f} deg ({site.source}) and "
        f"the times in the headers, {np.count_nonzero(~above)} of {len(above)} frames look below the horizon; "
        + (cause or "check the site and the clock"),
        ["site", "clock_ahead_s"],
    )


def require_dark(pointings: Pointings) -> None:
    """Refuse a site and clock that put the Sun well above the horizon.

    Raises
    ------
    InputError
        The Sun stood in the sky when most frames were taken; the text names what would make it dark.
    """
    site = pointings.site
    altitude = float(np.median(pointings.sun_altitudes_deg))
    if altitude < _DAYLIGHT_DEG:
        return
    cause = likely_cause(pointings)
    raise InputError(
        f"with latitude {site.latitude_deg:.3f}, longitude {site.longitude_deg:.3f} deg ({site.source}) and the times in "
        f"the headers the Sun stood at {altitude:+.0f} deg of altitude, so one of them is wrong, and which way to turn "
        f"a knob would be too; {cause or 'check the site and the clock'}",
        ["site", "clock_ahead_s"],
    )


def likely_cause(pointings: Pointings) -> str | None:
    """Name the mistakes that would bring all frames above the horizon at night, or None."""
    latitude, longitude = pointings.site.latitude_deg, pointings.site.longitude_deg
    mistakes = []
    if (sun := _sun_if(pointings, latitude, -longitude)) is not None:
        mistakes.append(
            f"the longitude's sign is wrong (east is positive here): with {-longitude:.3f} the Sun stood at {sun:+.0f} deg"
        )
    if _sun_if(pointings, -latitude, longitude) is not None:
        mistakes.append("the latitude's sign is wrong (north is positive)")
    if abs(longitude) <= 90 and _sun_if(pointings, longitude, latitude) is not None:
        mistakes.append("latitude and longitude are swapped (latitude comes first)")
    for hours in (h for h in sorted(range(-14, 15), key=abs) if h):
        if (sun := _sun_if(pointings, latitude, longitude, hours)) is not None:
            mistakes.append(
                f"the clock ran on local time or is off by hours ({abs(hours)}h {'ahead of' if hours > 0 else 'behind'} UTC "
                f"would do, for example, with the Sun at {sun:+.0f} deg; daylight saving counts too)"
            )
            break
    return "likely " + ", or ".join(mistakes) if mistakes else None


def sun_notice(epochs: Epochs, site: Site) -> Notice | None:
    """Return a notice if the Sun stood in the sky at mid-exposure."""
    highest = float(sun_altitude_deg(epochs, site).max())
    if highest < _SUN_UP_DEG:
        return None
    return Notice(
        "sun-up",
        f"By site and clock the Sun stood at {highest:+.0f} deg of altitude during a frame. The clock or the "
        "longitude is likely off by hours (local time? daylight saving? longitude's sign?): say how far "
        "the clock was ahead of UTC, or the site. The size of the error would stay, its split into azimuth and altitude "
        "turns by 15 deg an hour.",
        ("clock_ahead_s", "site"),
    )


def zone_notice(frames: Sequence[Frame], site: Site) -> Notice | None:
    """Return a notice if times rest on a zone that was stated, with whether the Sun would show a wrong one.

    Parameters
    ----------
    frames : sequence of Frame
        Those in use.
    site : Site
        Where.
    """
    trusting = [frame.utc for frame in frames if frame.trusts_zone]
    if not trusting:
        return None
    utc = np.array(trusting)
    now, *hour_off = (float(sun_altitude_deg(_ahead(utc, hours), site).max()) for hours in (0, -1, 1))
    shows = [way for way, sun in zip(("later", "earlier"), hour_off, strict=True) if sun >= _SUN_UP_DEG]
    found = (
        f"an hour off either way would not show, since the Sun, now at {now:+.0f} deg, would be down all the same"
        if not shows
        else f"were it an hour {' or '.join(shows)}, the Sun would be up"
        + ("" if len(shows) == 2 else "; an hour the other way would not show")
    )
    return Notice(
        "zone-stated",
        f"The camera's time zone is as stated, not read from the files: {found}. An hour turns the split into azimuth and "
        "altitude by 15 deg, so compare the time of the answer with your watch.",
    )


def _sun_if(pointings: Pointings, latitude: float, longitude: float, hours: float = 0.0) -> float | None:
    """The Sun's highest altitude at another site or time, if it is dark there and all frames stand above the horizon."""
    epochs = Epochs.of(_ahead(pointings.epochs.utc, hours)) if hours else pointings.epochs
    moved = Pointings.of(pointings.centres, epochs, Site(latitude, longitude, 0.0, "trial"))
    highest = float(moved.sun_altitudes_deg.max())
    return highest if highest < _SUN_UP_DEG and moved.above_horizon.all() else None


def _ahead(utc: Array, hours: float) -> Array:
    """Times if the clock was ahead of UTC by `hours`."""
    return np.asarray(utc - np.array([0.0, hours / 24]))
