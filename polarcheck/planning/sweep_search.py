"""The search for the sweep that tells the axis best: declinations, windows, and exchange of frames at each."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from polarcheck.axis import MountLimits, Reach, SweepDesign, chosen_frames, pointing_at, sweep_design
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.planning.expected import PlanCamera
from polarcheck.sky import Sky
from polarcheck.vectors import Array

__all__ = ["Candidate", "SweepWish", "best_sweep", "distances"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_STEP_DEG = 5.0
_APART_DEG = 10.0
_SPACING_DEG = 1.0  # on the sky between two frames: the same stars repeat the same errors
# from the pole; tries of a smooth function: the place between its neighbours serves nearly as well as a missing one
_DISTANCES_DEG = (5, 10, 15, 20, 25, *range(30, 151, 10))
_NEAR_DEG = 2.0  # beside the pole, for a short arc only: there the frames share their stars
_SHORT_ARC_DEG = 75.0
_AS_GOOD = 1.1  # within this factor of the least sigma, height above the horizon decides
_HIGH_DEG = 35.0  # above it more height is worth nothing
_CROSSING_GAIN = 1.5  # that a sweep across the meridian must bring where nobody said that the mount can


@dataclass(frozen=True, slots=True)
class SweepWish:
    """What the sweep is to be.

    Attributes
    ----------
    frames : int
        How many, 2 or more.
    declination_deg : float or None
        Where the camera is to look; None: where it is best. [deg]
    reach : Reach
        What can be pointed at.
    """

    frames: int = 5
    declination_deg: float | None = None
    reach: Reach = field(default_factory=Reach)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A sweep that can be taken.

    Attributes
    ----------
    distance : float
        Of the camera from the pole. [rad]
    angles : ndarray, shape (n,)
        Axis angles of the frames, growing; they may pass +-pi. [rad]
    cost : float
        Variance on the sky, for a pointing noise of 1.
    across, up : float
        The sigmas, for a pointing noise of 1.
    lowest_deg : float
        Altitude of the lowest frame. [deg]
    """

    distance: float
    angles: Array
    cost: float
    across: float
    up: float
    lowest_deg: float

    @property
    def arc(self) -> float:
        """From the first frame to the last. [rad]"""
        return float(self.angles[-1] - self.angles[0])


def best_sweep(
    axis: Array, sky: Sky, camera: PlanCamera, wish: SweepWish, limit: tuple[float, float] | None
) -> Candidate | None:
    """Return the sweep on one side of the meridian; one across it where that gains enough, or is the only one.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        The elevated end.
    sky : Sky
    camera : PlanCamera
    wish : SweepWish
    limit : tuple of float or None
        Sigmas across and up that it shall not pass, if that can be. [arcmin]

    Returns
    -------
    Candidate or None
        None where nothing is in reach.
    """
    unit = camera.noise / ARCMIN
    bounds = None if limit is None else (limit[0] / unit, limit[1] / unit)
    limits = wish.reach.limits
    sides = _preferred(list(_candidates(axis, sky, camera, wish, limits.windows(), bounds)), bounds)
    if limits.past_meridian is not None:
        return sides
    half = np.pi / 2
    across = _preferred(list(_candidates(axis, sky, camera, wish, ((-half, half),), bounds)), bounds)
    if sides is None or across is None:
        return sides or across
    if _within(sides, bounds) and sides.cost <= _CROSSING_GAIN**2 * across.cost:
        return sides
    return across if _within(across, bounds) else min(sides, across, key=lambda one: one.cost)


def _candidates(
    axis: Array,
    sky: Sky,
    camera: PlanCamera,
    wish: SweepWish,
    windows: tuple[tuple[float, float], ...],
    bounds: tuple[float, float] | None,
) -> Iterator[Candidate]:
    """The best sweep of each declination in each window."""
    step = _STEP_DEG * DEGREE
    for begin, end in windows:
        angles = np.arange(np.ceil(begin / step - 1e-9), np.floor(end / step + 1e-9) + 1) * step
        for distance in distances(sky, wish):
            looks = pointing_at(axis, distance, angles, sky.is_north)
            allowed = wish.reach.sees(looks) & wish.reach.limits.allows_turn(angles)
            span = min(np.ptp(angles[allowed]), wish.reach.limits.arc) if allowed.any() else 0.0
            if distance < 4 * DEGREE and span > _SHORT_ARC_DEG * DEGREE and wish.declination_deg is None:
                continue
            design = sweep_design(axis, looks, camera.roll_moment)
            for part in _parts(angles, allowed, wish.reach.limits):
                chosen = _chosen(design, angles, part, wish.frames, distance, bounds)
                if len(chosen):
                    yield _candidate(design.information(chosen), distance, angles[chosen], looks[chosen])


def distances(sky: Sky, wish: SweepWish) -> list[float]:
    """Return the distances of the camera from the pole that are tried. [rad]"""
    if wish.declination_deg is not None:
        sense = 1.0 if sky.is_north else -1.0
        return [max((90 - sense * wish.declination_deg) * DEGREE, 0.05 * DEGREE)]
    return [distance * DEGREE for distance in (*_DISTANCES_DEG, _NEAR_DEG)]


def _parts(angles: Array, allowed: Bools, limits: MountLimits) -> list[Bools]:
    """Where the open arc is longer than one sweep may be: pieces of it, 15 deg apart."""
    if not allowed.any():
        return []
    first, last = angles[allowed][0], angles[allowed][-1]
    if last - first <= limits.arc + 1e-9:
        return [allowed]
    starts = np.arange(first, last - limits.arc + 15 * DEGREE, 15 * DEGREE)
    return [allowed & (angles >= begin - 1e-9) & (angles <= begin + limits.arc + 1e-9) for begin in starts]


def _chosen(
    design: SweepDesign,
    angles: Array,
    allowed: Bools,
    count: int,
    distance: float,
    bounds: tuple[float, float] | None,
) -> Ints:
    apart = max(_APART_DEG, _SPACING_DEG / max(np.sin(distance), 1e-3)) * DEGREE
    worth = _worth(bounds)
    for least in (min(apart, np.pi / 3), _STEP_DEG * DEGREE):
        chosen = chosen_frames(design, angles, allowed, count, least, worth)
        if len(chosen):
            return chosen
    return np.array([], dtype=int)


def _worth(bounds: tuple[float, float] | None) -> Callable[[Array], Array]:
    """A cost from information: the variance on the sky, raised where one of the two sigmas passes its bound."""

    def cost(information: Array) -> Array:
        across, up = _variances(information)
        total = across + up
        if bounds is None:
            return total
        over = np.maximum(np.sqrt(across) / bounds[0] - 1, 0) + np.maximum(np.sqrt(up) / bounds[1] - 1, 0)
        return np.asarray(total * (1 + 10 * over))

    return cost


def _variances(information: Array) -> tuple[Array, Array]:
    """Variance across and up, for a pointing noise of 1, of information, shape (..., 2, 2)."""
    first, second = information[..., 0, 0], information[..., 1, 1]
    determinant = np.maximum(first * second - information[..., 0, 1] ** 2, 1e-300)
    return second / determinant, first / determinant


def _candidate(information: Array, distance: float, angles: Array, looks: Array) -> Candidate:
    across, up = (float(variance) for variance in _variances(information))
    lowest = float(np.arcsin(looks[:, 2].min())) / DEGREE
    return Candidate(distance, angles, across + up, np.sqrt(across), np.sqrt(up), lowest)


def _within(candidate: Candidate, bounds: tuple[float, float] | None) -> bool:
    return bounds is None or (candidate.across <= bounds[0] and candidate.up <= bounds[1])


def _preferred(candidates: list[Candidate], bounds: tuple[float, float] | None) -> Candidate | None:
    """Of those that are nearly as good as the best, the highest, then the shortest."""
    within = [candidate for candidate in candidates if _within(candidate, bounds)] or candidates
    if not within:
        return None
    least = min(candidate.cost for candidate in within)
    good = [candidate for candidate in within if candidate.cost <= _AS_GOOD**2 * least]
    return max(good, key=lambda one: (round(min(one.lowest_deg, _HIGH_DEG)), -round(one.arc, 6), -one.cost))
