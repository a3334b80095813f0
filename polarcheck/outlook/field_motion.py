"""How far stars move on the sensor for many fields at once, and when the first of them has moved too far."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.outlook.fast_sky import FastSky
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.scene import LONGEST_S, SHORTEST_S
from polarcheck.outlook.sensor_stars import (
    LOWEST,
    field_radius,
    heights_for,
    low_places,
    low_reach,
    sensor_border,
)
from polarcheck.sky import guided_attitude, tracking_attitude
from polarcheck.vectors import Array, unit

__all__ = ["Fields", "Tracking", "field_limits", "first_limits"]

Ints = npt.NDArray[np.int_]

_FACTOR = 1.5  # between moments: motion that turns back within less is looked at more closely
_NEAR_PEAK = 0.5  # of the tolerance, reached: a peak between moments is a few per cent above the higher one
# moments around a peak, and how often anew around the best; twice as many change no exposure, and no user's time
_PEAK_TRIED, _PEAK_ROUNDS = 6, 2
# halvings that narrow a crossing down; four more change an exposure by one part in 600 at most, for a sixth more time
_REFINED = 4
_AT_ONCE = 40_000  # stars worked on together, for the sake of small boards' memory


@dataclass(frozen=True, slots=True)
class Fields:
    """Stars over the sensor for `n` field centres at the start of an exposure.

    Attributes
    ----------
    fast : FastSky
    optics : Optics
    airless : ndarray, shape (n, k, 3)
        Stars without air; the first is the centre, the last the guide star.
    counts : ndarray of bool, shape (n, k - 1)
        Whether a star is on the sensor and above the lowest altitude.
    start : ndarray, shape (n, k, 3)
        The same stars as seen.
    basis : ndarray, shape (n, 2, 3)
        East and north across each line of sight.
    begin : ndarray, shape (n, k - 1, 2)
        Where the stars fall in the focal plane then. [rad at the centre]
    """

    fast: FastSky
    optics: Optics
    airless: Array
    counts: npt.NDArray[np.bool_]
    start: Array
    basis: Array
    begin: Array

    @classmethod
    def of(
        cls, fast: FastSky, optics: Optics, hour_angle: Array, declination: Array, heights: Array | None
    ) -> Fields:
        """Put a sensor on field centres.

        Parameters
        ----------
        fast : FastSky
        optics : Optics
        hour_angle, declination : ndarray, shape (n,)
            Of date. [rad]
        heights : ndarray, shape (m,), or None
            Of lines over the lowest altitude on which stars are wanted, too. [rad]
        """
        star, east, north = fast.airless(hour_angle, declination)
        border = sensor_border(optics)
        offsets = np.broadcast_to(border, (len(star), *border.shape))
        inside = np.ones(offsets.shape[:2], dtype=bool)
        if heights is not None:
            lines, on_sensor = low_places(optics, fast, heights, (star, east, north))
            offsets, inside = (
                np.concatenate([offsets, lines], axis=1),
                np.concatenate([inside, on_sensor], axis=1),
            )
            offsets = np.where(inside[..., None], offsets, 0.0)
        guide = np.broadcast_to(np.array([[optics.guide_offset_deg]]) * DEGREE, (len(star), 1, 2))
        both = np.concatenate([offsets, guide], axis=1)
        airless = unit(star[:, None] + both[..., :1] * east[:, None] + both[..., 1:] * north[:, None])
        seen = fast.seen(airless)
        counts = inside & (seen[:, :-1, 2] >= np.sin(LOWEST))
        basis = _basis(seen[:, 0], fast.seen(unit(star + 1e-4 * north)))
        return cls(fast, optics, airless, counts, seen, basis, _places(seen[:, :-1], seen[:, 0], basis))

    def places(self, rows: Ints, directions: Array) -> Array:
        """Focal-plane places, shape (m, k, 2), of directions, (m, k, 3), for some fields. [rad at the centre]"""
        return _places(directions, self.start[rows, 0], self.basis[rows])


def _basis(sight: Array, towards_north: Array) -> Array:
    up = towards_north - sight
    up = unit(up - sight * np.sum(up * sight, axis=-1, keepdims=True))
    return np.stack([np.cross(up, sight), up], axis=1)


def _places(directions: Array, sight: Array, basis: Array) -> Array:
    depth = np.einsum("mki,mi->mk", directions, sight)
    return np.asarray(directions @ np.swapaxes(basis, -1, -2) / depth[..., None])


def field_limits(
    centres: tuple[Array, Array], fast: FastSky, optics: Optics, tracking: Tracking, tolerance_arcsec: float
) -> tuple[Array, Array]:
    """Return when the first star of each of many fields has moved by the tolerance.

    Parameters
    ----------
    centres : tuple of ndarray, shape (n,)
        Hour angles and declinations of date. [rad]
    fast : FastSky
    optics : Optics
    tracking : Tracking
        How the mount carries the camera.
    tolerance_arcsec : float

    Returns
    -------
    limit, available : ndarray, shape (n,)
        As for `first_limits`. [s]
    """
    hours, declinations = centres
    limit, available = np.empty((2, len(hours)))
    altitude = np.arcsin(fast.airless(hours, declinations)[0][:, 2])
    low = altitude - field_radius(optics) < low_reach(optics)
    for heights, stars in ((None, 20), (heights_for(tolerance_arcsec), 120)):
        chosen = np.flatnonzero(low == (heights is not None))
        step = max(1, _AT_ONCE // stars)
        for first in range(0, len(chosen), step):
            some = chosen[first : first + step]
            fields = Fields.of(fast, optics, hours[some], declinations[some], heights)
            own = tracking if tracking.turns is None else replace(tracking, turns=tracking.turns[some])
            limit[some], available[some] = first_limits(fields, own, tolerance_arcsec)
    return limit, available


@dataclass(frozen=True, slots=True)
class Tracking:
    """How a mount carries the camera.

    Attributes
    ----------
    axis : ndarray, shape (3,)
        Its elevated end, East-North-Up.
    guided : bool
        Whether a guider holds the guide star; periodic error counts only without one.
    turns : ndarray, shape (n,), or None
        Rate at which the unguided mount turns for each field; None: the mean sidereal rate. [rad/s]
    """

    axis: Array
    guided: bool
    turns: Array | None = None


def first_limits(fields: Fields, tracking: Tracking, tolerance_arcsec: float) -> tuple[Array, Array]:
    """Return when the first star of each field has moved by the tolerance.

    Parameters
    ----------
    fields : Fields
    tracking : Tracking
    tolerance_arcsec : float

    Returns
    -------
    limit : ndarray, shape (n,)
        Infinite where it does not happen before the centre sets, or within 6 h. [s]
    available : ndarray, shape (n,)
        Until the centre sets, at most 6 h. [s]
    """
    search = _Search(fields, tracking, tolerance_arcsec)
    count = len(fields.start)
    limit, available = np.full(count, np.inf), np.full(count, LONGEST_S)
    rows, times, sizes = np.arange(count), np.zeros((2, count)), np.zeros((2, count))
    moments = search.moments()
    for seconds in moments:
        size, height = search.largest(rows, np.full(len(rows), seconds))
        reached = size >= tolerance_arcsec
        if reached.any():
            limit[rows[reached]] = search.narrowed(rows[reached], times[1, rows[reached]], seconds)
        sets = ~reached & (height < np.sin(LOWEST)) & (height < fields.start[rows, 0, 2])
        ends = sets | (seconds == moments[-1])
        may_peak = np.maximum(sizes[1, rows], size) > _NEAR_PEAK * tolerance_arcsec
        turned = ~reached & (
            sets | may_peak & (ends | (sizes[0, rows] < sizes[1, rows]) & (size < sizes[1, rows]))
        )
        if turned.any():
            peak = search.peak_before(rows[turned], times[0, rows[turned]], seconds)
            limit[rows[turned]] = peak
            reached[turned] = np.isfinite(peak)
        sets &= ~reached
        available[rows[sets]] = seconds
        times[:, rows], sizes[:, rows] = [times[1, rows], np.full(len(rows), seconds)], [sizes[1, rows], size]
        rows = rows[~reached & ~sets]
        if not len(rows):
            break
    return limit, available


@dataclass(frozen=True, slots=True)
class _Search:
    fields: Fields
    tracking: Tracking
    tolerance: float

    @property
    def _worm(self) -> tuple[float, float]:
        """Periodic error, peak to peak, and its period; zero where it does not count. [arcsec], [s]"""
        optics = self.fields.optics
        known = not self.tracking.guided and optics.periodic_error_arcsec and optics.worm_period_s
        return (optics.periodic_error_arcsec, optics.worm_period_s) if known else (0.0, 0.0)

    def moments(self) -> Array:
        """Moments to look at, the last one 6 h. [s]"""
        count = int(np.ceil(np.log(LONGEST_S / SHORTEST_S) / np.log(_FACTOR))) + 1
        spread = np.geomspace(SHORTEST_S, LONGEST_S, count)
        _, period = self._worm
        if not period:
            return spread
        return np.union1d(spread, np.arange(period / 2, LONGEST_S, period / 2))  # each crest

    def largest(self, rows: Ints, seconds: Array) -> tuple[Array, Array]:
        """Largest motion of some fields, each at its own moment, and the sine of the centre's altitude. [arcsec]"""
        fields = self.fields
        airless = fields.fast.turned(fields.airless[rows], seconds)
        seen = fields.fast.seen(airless)
        back = seen[:, :-1] @ self._attitude(rows, seen[:, -1], seconds)
        moved = (fields.places(rows, back) - fields.begin[rows]) / ARCSEC
        size = self._with_worm(rows, moved, seconds)
        still_up = fields.counts[rows] & (seen[:, :-1, 2] >= np.sin(LOWEST))
        size = np.where(still_up, np.where(np.isfinite(size), size, np.inf), 0.0)
        return size.max(axis=1), seen[:, 0, 2]

    def _attitude(self, rows: Ints, guide: Array, seconds: Array) -> Array:
        if self.tracking.guided:
            return guided_attitude(
                guide, self.fields.start[rows, -1], self.fields.start[rows, 0], self.tracking.axis
            )
        turns = self.tracking.turns
        rate = SIDEREAL_RATE if turns is None else turns[rows]
        return tracking_attitude(self.tracking.axis, rate * seconds, self.fields.fast.north)

    def _with_worm(self, rows: Ints, moved: Array, seconds: Array) -> Array:
        """Size of the motion, (m, k), periodic error at its worst phase: over some time it changes by this much."""
        height, period = self._worm
        if not period:
            return np.asarray(np.hypot(moved[..., 0], moved[..., 1]))
        start, sight = self.fields.start[rows, :-1], self.fields.start[rows, 0]
        basis, begin = self.fields.basis[rows], self.fields.begin[rows]
        velocity = np.cross(self.tracking.axis, start)  # by a turn of 1 rad; its sign does not matter
        depth = np.einsum("mki,mi->mk", start, sight)[..., None]
        receding = np.einsum("mki,mi->mk", velocity, sight)[..., None]
        slope = (velocity @ np.swapaxes(basis, -1, -2) - begin * receding) / depth
        swing = slope * (height * np.abs(np.sin(np.pi * seconds / period)))[:, None, None]
        return np.asarray(np.maximum(*(np.hypot(*np.moveaxis(moved + s * swing, -1, 0)) for s in (1, -1))))

    def peak_before(self, rows: Ints, before: Array, after: float) -> Array:
        """Return when motion that turned back between two moments reached the tolerance; infinite if it did not. [s]"""
        some = np.flatnonzero(rows >= 0)
        limit, peak = np.full(len(rows), np.inf), np.zeros(len(rows))
        low, high = before, np.full(len(rows), after)
        for _ in range(_PEAK_ROUNDS):
            tried = low + np.linspace(0, 1, _PEAK_TRIED)[:, None] * (high - low)
            sizes = np.stack([self.largest(rows, one)[0] for one in tried])
            best = np.argmax(sizes, axis=0)
            peak, largest = tried[best, some], sizes[best, some]
            low = tried[np.maximum(best - 1, 0), some]
            high = tried[np.minimum(best + 1, _PEAK_TRIED - 1), some]
        over = largest >= self.tolerance
        if over.any():
            limit[over] = self.narrowed(rows[over], before[over], peak[over])
        return limit

    def narrowed(self, rows: Ints, before: Array, after: float | Array) -> Array:
        """Narrow the crossing of some fields down, between a moment before and one after it. [s]"""
        low, high = before.copy(), np.full(len(rows), after)
        for _ in range(_REFINED):
            middle = (low + high) / 2
            over = self.largest(rows, middle)[0] >= self.tolerance
            low, high = np.where(over, low, middle), np.where(over, middle, high)
        small, large = self.largest(rows, low)[0], self.largest(rows, high)[0]
        with np.errstate(divide="ignore", invalid="ignore"):
            part = np.where(np.isfinite(large), (self.tolerance - small) / (large - small), 0.0)
        return np.asarray(low + np.clip(np.nan_to_num(part), 0.0, 1.0) * (high - low))
