"""The longest exposure all over the sky: hour angle by declination, many cells at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.constants import DEGREE
from polarcheck.outlook.fast_sky import FastSky
from polarcheck.outlook.field_motion import Tracking, field_limits
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.sensor_stars import LOWEST
from polarcheck.presenting import WithDict, WithPlot, WithTable
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.vectors import Array

__all__ = ["SkyMap", "exposure_map"]


@dataclass(frozen=True, slots=True, repr=False)
class SkyMap(WithDict, WithTable, WithPlot):
    """Longest exposures over the sky.

    Attributes
    ----------
    hour_angle_deg : ndarray, shape (n,)
        Of the columns, west positive. [deg]
    declination_deg : ndarray, shape (m,)
        Of the rows, of date. [deg]
    limit_s : ndarray, shape (m, n)
        Longest exposure; infinite where 6 h or the setting come first, NaN below an altitude of 5 deg. [s]
    available_s : ndarray, shape (m, n)
        Until the cell sets, at most 6 h; to within a step of a factor of 1.5. [s]
    altitude_deg : ndarray, shape (m, n)
        Observed. [deg]
    guided : bool
    tolerance_arcsec : float
    hidden : ndarray of bool, shape (m, n), or None
        Cells behind the site's horizon, where one is known; their limits are NaN.
    """

    hour_angle_deg: Array
    declination_deg: Array
    limit_s: Array
    available_s: Array
    altitude_deg: Array
    guided: bool
    tolerance_arcsec: float
    hidden: npt.NDArray[np.bool_] | None = None

    def __repr__(self) -> str:
        rows, columns = self.limit_s.shape
        how = "guided" if self.guided else "unguided"
        return (
            f"SkyMap({rows} declinations, {columns} hour angles, {how}, {self.tolerance_arcsec:.3g} arcsec)"
        )


def exposure_map(
    axis: Array,
    sky: Sky,
    optics: Optics,
    tolerance_arcsec: float,
    *,
    guided: bool,
    hour_angle_deg: Array | None = None,
    declination_deg: Array | None = None,
) -> SkyMap:
    """Find the longest exposure for every cell of a grid over the sky.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        The mount's elevated end, East-North-Up.
    sky : Sky
        Where, and the air there.
    optics : Optics
        A guide star stands where its `guide_offset_deg` says; periodic error counts while unguided.
    tolerance_arcsec : float
        Largest motion that is tolerated. [arcsec]
    guided : bool
    hour_angle_deg, declination_deg : ndarray, optional
        Of the columns and rows; else every 3 deg over what rises. [deg]

    Returns
    -------
    SkyMap
        By the same stars over the sensor as `exposure_limit`, through a quicker geometry; see docs/exposure.md for
        how near they come to each other.
    """
    hours = np.arange(-177.0, 180.0, 3.0) if hour_angle_deg is None else np.asarray(hour_angle_deg)
    rows = _declinations(sky.site) if declination_deg is None else np.asarray(declination_deg)
    h, d = (grid.ravel() * DEGREE for grid in np.meshgrid(hours, rows))
    fast = FastSky(sky)
    sine = fast.seen(fast.airless(h, d)[0])[:, 2]
    up = sine > np.sin(LOWEST)
    limit, available, altitude = np.full((3, len(h)), np.nan)
    altitude[up] = np.arcsin(sine[up]) / DEGREE
    tracking = Tracking(axis, guided)
    limit[up], available[up] = field_limits((h[up], d[up]), fast, optics, tracking, tolerance_arcsec)
    shape = (len(rows), len(hours))
    return SkyMap(
        hour_angle_deg=hours,
        declination_deg=rows,
        limit_s=limit.reshape(shape),
        available_s=available.reshape(shape),
        altitude_deg=altitude.reshape(shape),
        guided=guided,
        tolerance_arcsec=tolerance_arcsec,
    )


def _declinations(site: Site) -> Array:
    lowest = abs(site.latitude_deg) - 84.0
    rows = np.arange(np.ceil(lowest / 3) * 3, 90.0, 3.0)
    return np.asarray(rows if site.is_north else -rows[::-1])
