"""What a camera must keep away from: the Sun always, a bright Moon for the solver's sake."""

from __future__ import annotations

from polarcheck.constants import DEGREE
from polarcheck.errors import Notice
from polarcheck.planning.bodies import moon_at, sun_at
from polarcheck.sky import Sky
from polarcheck.vectors import Array

__all__ = ["kept_away"]

_TWILIGHT_DEG = -18.0
_DAYLIGHT_DEG = -6.0
_SUN_DEG = 60.0
_DARK_MOON = 0.1  # a thin crescent troubles nobody


def kept_away(
    utc: tuple[float, float], sky: Sky
) -> tuple[tuple[tuple[Array, float], ...], tuple[Notice, ...]]:
    """Return directions to stay away from with their distances [rad], and what to warn of.

    The distances are common practice, without a source: 60 deg from the Sun until the sky is dark, 10 deg from a thin
    Moon to 30 deg from a full one.
    """
    found: list[tuple[Array, float]] = []
    notices: list[Notice] = []
    sun, moon = sun_at(utc, sky), moon_at(utc, sky)
    if sun.altitude_deg > _TWILIGHT_DEG:
        found.append((sun.direction, _SUN_DEG * DEGREE))
    if sun.altitude_deg > _DAYLIGHT_DEG:
        notices.append(
            Notice(
                "daylight",
                f"The Sun stands {_height(sun.altitude_deg)} at that time: no frame will be solved, and optics must never "
                "point near it. The positions keep 60 deg away from where it is then; plan again for the dark.",
                ("utc",),
            )
        )
    if moon.body.is_up and moon.lit > _DARK_MOON:
        found.append((moon.body.direction, (10 + 20 * moon.lit) * DEGREE))
    return tuple(found), tuple(notices)


def _height(altitude_deg: float) -> str:
    return (
        f"{altitude_deg:.0f} deg high"
        if altitude_deg >= 0.5
        else "at the horizon"
        if altitude_deg > -0.5
        else f"only {-altitude_deg:.0f} deg below the horizon"
    )
