"""What of a map or of a night lies behind the horizon of the site: roofs, trees, hills."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from polarcheck.axis import Horizon
from polarcheck.constants import DEGREE
from polarcheck.errors import InputError
from polarcheck.outlook.fast_sky import FastSky
from polarcheck.outlook.skymap import SkyMap
from polarcheck.outlook.timeline import Timeline
from polarcheck.sky import Sky
from polarcheck.times import add_seconds
from polarcheck.vectors import Array, azalt_from_direction, direction_from_spherical

__all__ = ["map_above", "timeline_above"]

Bools = npt.NDArray[np.bool_]


def map_above(found: SkyMap, sky: Sky, horizon: Horizon) -> SkyMap:
    """Return a map without the cells that the horizon hides.

    Parameters
    ----------
    found : SkyMap
    sky : Sky
        That it was made for.
    horizon : Horizon

    Returns
    -------
    SkyMap
        Limits are NaN where `hidden`. An exposure that begins in the open may end behind the horizon.
    """
    h, d = (grid.ravel() * DEGREE for grid in np.meshgrid(found.hour_angle_deg, found.declination_deg))
    fast = FastSky(sky)
    hidden = _behind(horizon, fast.seen(fast.airless(h, d)[0])).reshape(found.limit_s.shape)
    limit, available = (np.where(hidden, np.nan, each) for each in (found.limit_s, found.available_s))
    return replace(found, limit_s=limit, available_s=available, hidden=hidden)


def timeline_above(line: Timeline, sky: Sky, target_deg: tuple[float, float], horizon: Horizon) -> Timeline:
    """Return a night in which the target is not seen behind the horizon.

    Parameters
    ----------
    line : Timeline
    sky : Sky
        That it was made for.
    target_deg : tuple of float
        ICRS right ascension and declination. [deg]
    horizon : Horizon

    Returns
    -------
    Timeline
        Limits are NaN where `hidden`. An exposure that begins in the open may end behind the horizon.

    Raises
    ------
    InputError
        The target stays hidden or too low all night.
    """
    dates = np.array([add_seconds(line.night.dusk, float(s)) for s in line.seconds])
    star = direction_from_spherical(target_deg[0] * DEGREE, target_deg[1] * DEGREE)
    seen = sky.observed(np.broadcast_to(star, (len(dates), 1, 3)), dates)[:, 0]
    hidden = _behind(horizon, seen)
    limit = np.where(hidden, np.nan, line.limit_s)
    if np.isnan(limit).all():
        raise InputError(
            "the target stays behind the rig file's horizon all night; check target, time and horizon",
            ["target_deg", "utc", "rig"],
        )
    return replace(line, limit_s=limit, hidden=hidden)


def _behind(horizon: Horizon, directions: Array) -> Bools:
    azimuth, altitude = azalt_from_direction(directions)
    return np.asarray(altitude < horizon.altitude(azimuth))
