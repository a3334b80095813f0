"""The longest exposure all over the sky: hour angle by declination, many cells at once.

Ten thousand cells through ERFA would take minutes. Here a star moves on its parallel of date and refraction lifts
it by the two constants of the air; what is left out (aberration's and precession's change within an exposure) is
under a hundredth of an arcsecond a minute.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.outlook.optics import Optics
from polarcheck.presenting import WithDict, WithPlot, WithTable
from polarcheck.site import Site
from polarcheck.sky import Sky, guided_attitude, refraction_constants, tracking_attitude
from polarcheck.vectors import Array

__all__ = ["SkyMap", "exposure_map"]

_LOWEST = float(np.sin(5 * DEGREE))
_LONGEST_S, _SHORTEST_S = 6 * 3600.0, 1.0
_MOMENTS = 28
_SMALL = 1e-3  # displacement for the derivatives [rad]


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
        Until the cell sets, at most 6 h; to within a step of a factor of 1.45. [s]
    altitude_deg : ndarray, shape (m, n)
        Observed. [deg]
    guided : bool
    tolerance_arcsec : float
    """

    hour_angle_deg: Array
    declination_deg: Array
    limit_s: Array
    available_s: Array
    altitude_deg: Array
    guided: bool
    tolerance_arcsec: float

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
        A guide star stands where its `guide_offset_deg` says; periodic error does not count here.
    tolerance_arcsec : float
        Largest motion that is tolerated. [arcsec]
    guided : bool
    hour_angle_deg, declination_deg : ndarray, optional
        Of the columns and rows; else every 3 deg over what rises. [deg]

    Returns
    -------
    SkyMap
        Read between moments a factor of 1.45 apart as powers of time, the sensor's field moving as a linear map.
        See docs/exposure.md for how near it comes to `exposure_limit`.
    """
    hours = np.arange(-177.0, 180.0, 3.0) if hour_angle_deg is None else np.asarray(hour_angle_deg)
    rows = _declinations(sky.site) if declination_deg is None else np.asarray(declination_deg)
    h, d = (grid.ravel() * DEGREE for grid in np.meshgrid(hours, rows))
    cells = _Cells(h, d, sky)
    start = cells.at(0.0)
    up = start[0][:, 2] > _LOWEST
    cells = cells.part(up)
    start = cells.at(0.0)
    limit, available = np.full((2, len(h)), np.nan)
    limit[up], available[up] = _limits(cells, start, axis, optics, tolerance_arcsec, guided, sky.is_north)
    altitude = np.full(len(h), np.nan)
    altitude[up] = np.arcsin(start[0][:, 2]) / DEGREE
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


class _Cells:
    """Stars at hour angles and declinations of date, with one a little east and one a little north of each."""

    def __init__(self, hour_angle: Array, declination: Array, sky: Sky) -> None:
        phi = sky.site.latitude_deg * DEGREE
        self.pole = np.array([0.0, np.cos(phi), np.sin(phi)])
        self.level = np.array([0.0, -np.sin(phi), np.cos(phi)])
        self.constants = refraction_constants(sky.air)
        self.hour_angle, self.declination = hour_angle, declination
        self.cosine, self.sine = np.cos(declination), np.sin(declination)

    def part(self, some: npt.NDArray[np.bool_]) -> _Cells:
        """Return some of the cells."""
        other = object.__new__(_Cells)
        other.pole, other.level, other.constants = self.pole, self.level, self.constants
        other.hour_angle, other.declination = self.hour_angle[some], self.declination[some]
        other.cosine, other.sine = self.cosine[some], self.sine[some]
        return other

    def at(self, seconds: float) -> tuple[Array, Array, Array]:
        """Observed directions of star, eastern and northern neighbour, each of shape (n, 3)."""
        angle = self.hour_angle + SIDEREAL_RATE * seconds
        c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
        outward = c * self.level + s * np.array([-1.0, 0.0, 0.0])
        star = self.cosine[:, None] * outward + self.sine[:, None] * self.pole
        east = s * self.level - c * np.array([-1.0, 0.0, 0.0])
        north = self.cosine[:, None] * self.pole - self.sine[:, None] * outward
        return (
            self._lifted(star),
            self._lifted(star + _SMALL * east),
            self._lifted(star + _SMALL * north),
        )

    def _lifted(self, v: Array) -> Array:
        """Refraction, as ERFA's ``eraAtioq`` lifts a vector."""
        a, b = self.constants
        level = np.maximum(np.hypot(v[:, 0], v[:, 1]), 1e-6)
        height = np.maximum(v[:, 2], 0.05)
        tangent = level / height
        cubic = b * tangent**2
        lift = (a + cubic) * tangent / (1 + (a + 3 * cubic) / (height**2 / (level**2 + height**2)))
        scaled = v * (1 - lift * v[:, 2] / level)[:, None]
        scaled[:, 2] = v[:, 2] + lift * level
        return np.asarray(scaled / np.linalg.norm(scaled, axis=1, keepdims=True))


def _limits(
    cells: _Cells,
    start: tuple[Array, ...],
    axis: Array,
    optics: Optics,
    tolerance: float,
    guided: bool,
    north: bool,
) -> tuple[Array, Array]:
    """First time at which a corner of the sensor has moved by the tolerance, and time until setting, shape (n,)."""
    plane = _Plane(start)
    corners = optics.sensor_offsets[[0, 1, 3, 6, 8]]
    guide = np.array(optics.guide_offset_deg) * DEGREE
    limit = np.full(len(cells.hour_angle), np.inf)
    available = np.full(len(limit), _LONGEST_S)
    open_, before = np.ones(len(limit), dtype=bool), (0.0, np.zeros(len(limit)))
    for seconds in np.geomspace(_SHORTEST_S, _LONGEST_S, _MOMENTS):
        seen = cells.at(seconds)
        turned = _turned_back(seen, start, axis, guide if guided else None, seconds, north)
        size = plane.largest_motion(turned, corners)
        size = np.where(np.isfinite(size), size, np.inf)
        reached = open_ & (size >= tolerance)
        limit[reached] = _between(before, (seconds, size), tolerance)[reached]
        sets = open_ & ~reached & (seen[0][:, 2] < _LOWEST) & (seen[0][:, 2] < start[0][:, 2])
        available[sets] = seconds
        open_ &= ~reached & ~sets
        before = seconds, size
        if not open_.any():
            break
    return limit, available


def _turned_back(
    seen: tuple[Array, ...],
    start: tuple[Array, ...],
    axis: Array,
    guide: Array | None,
    seconds: float,
    north: bool,
) -> tuple[Array, ...]:
    if guide is None:
        attitude = tracking_attitude(axis, SIDEREAL_RATE * seconds, north)
        return tuple(points @ attitude for points in seen)
    held = guided_attitude(_at(seen, guide), _at(start, guide), start[0], axis)
    return tuple(np.einsum("ni,nij->nj", points, held) for points in seen)


def _at(points: tuple[Array, ...], offset: Array) -> Array:
    """Direction at an offset east and north, linearly from a star and its two neighbours."""
    star, east, north = points
    v = star + (offset[0] * (east - star) + offset[1] * (north - star)) / _SMALL
    return np.asarray(v / np.linalg.norm(v, axis=1, keepdims=True))


class _Plane:
    """Focal planes across the stars at the start."""

    def __init__(self, start: tuple[Array, ...]) -> None:
        star, east, north = start
        self.sight = star
        up = north - star * np.sum(north * star, axis=1, keepdims=True)
        self.up = up / np.linalg.norm(up, axis=1, keepdims=True)
        self.side = np.cross(self.up, star)
        self.places = [self._place(points) for points in (star, east, north)]

    def _place(self, directions: Array) -> tuple[Array, Array]:
        depth = np.einsum("ni,ni->n", directions, self.sight)
        across = np.einsum("ni,ni->n", directions, self.side)
        return across / depth, np.einsum("ni,ni->n", directions, self.up) / depth

    def largest_motion(self, turned: tuple[Array, ...], corners: Array) -> Array:
        """Largest motion over the corners, shape (n,): the field moves as a linear map. [arcsec]"""
        moved = [
            (now[0] - then[0], now[1] - then[1])
            for now, then in zip((self._place(points) for points in turned), self.places, strict=True)
        ]
        (x, y), (ex, ey), (nx, ny) = moved
        largest = np.zeros(len(x))
        for east, north in corners / _SMALL:
            dx = x + east * (ex - x) + north * (nx - x)
            dy = y + east * (ey - y) + north * (ny - y)
            np.maximum(largest, dx * dx + dy * dy, out=largest)
        return np.sqrt(largest) / ARCSEC


def _between(before: tuple[float, Array], after: tuple[float, Array], tolerance: float) -> Array:
    """When the motion reached the tolerance, read as a power of time between two moments."""
    (t0, m0), (t1, m1) = before, after
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if t0 == 0:
            return np.asarray(t1 * tolerance / m1)
        power = np.log(m1 / m0) / np.log(t1 / t0)
        found = t0 * (tolerance / m0) ** (1 / power)
    return np.where(np.isfinite(found), np.clip(found, t0, t1), t1)
