"""Which frames to take: the declination and the turns of a sweep that tell the axis best, among those in reach.

All frames of a sweep share one declination and one side of the pier; the mount turns westward from each to the next,
so that its gear stays on one flank and tracking begins without a pause.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from polarcheck.axis import MountLimits, Reach, SweepDesign, chosen_frames, pointing_at, sweep_design
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import GeometryError, Notice
from polarcheck.planning.avoided import kept_away
from polarcheck.planning.expected import (
    ASSUMED_CAMERA,
    FRAME_S,
    ExpectedSigma,
    PlanCamera,
    expected_sigma,
    with_sag,
)
from polarcheck.sky import Sky
from polarcheck.times import add_seconds
from polarcheck.vectors import Array, azalt_from_direction, spherical_from_direction

__all__ = ["Position", "SweepPlan", "SweepWish", "plan_sweep"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

_STEP_DEG = 5.0
_APART_DEG = 10.0
_SPACING_DEG = 1.0  # on the sky between two frames: the same stars repeat the same errors
_DISTANCES_DEG = (5, 10, 15, 20, 25, *range(30, 151, 10))
_NEAR_DEG = 2.0  # beside the pole, for a short arc only: there the frames share their stars
_SHORT_ARC_DEG = 75.0
_AS_GOOD = 1.1  # within this factor of the least sigma, height above the horizon decides
_HIGH_DEG = 35.0  # above it more height is worth nothing
_CROSSING_GAIN = 1.5  # that a sweep across the meridian must bring where nobody said that the mount can
_OBVIOUS_DEG = (60.0, 30.0)  # declination and the hour angle at both ends of the obvious choice


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
class Position:
    """One frame of a plan.

    Attributes
    ----------
    utc : tuple of float
        When, 90 s after the one before.
    axis_angle_deg : float
        About the right-ascension axis from the upper meridian, west positive: the hour angle, within +-180. [deg]
    turn_deg : float
        From the position before, westward; 0 for the first. [deg]
    declination_deg : float
        About the axis, the same for all: what is clamped. [deg]
    icrs_declination_deg, right_ascension_deg : float
        Where the camera looks at that time, ICRS. [deg]
    azimuth_deg, altitude_deg : float
        As seen. [deg]
    """

    utc: tuple[float, float]
    axis_angle_deg: float
    turn_deg: float
    declination_deg: float
    icrs_declination_deg: float
    right_ascension_deg: float
    azimuth_deg: float
    altitude_deg: float


@dataclass(frozen=True, slots=True)
class SweepPlan:
    """Which frames to take, and what to expect of them.

    Attributes
    ----------
    sky : Sky
    utc : tuple of float
        Of the first frame.
    declination_deg : float
        To set and clamp; about the mount's axis, once that is near the pole. [deg]
    positions : tuple of Position
        In the order in which to take them.
    expected : ExpectedSigma
    obvious : ExpectedSigma
        Of as many frames spread evenly from 30 deg east to 30 deg west of the meridian at declination 60.
    obvious_in_reach : bool
        Whether those could be taken.
    crosses_meridian : bool
        Whether the tube passes the meridian during the sweep.
    camera : PlanCamera
    notices : tuple of Notice
    """

    sky: Sky
    utc: tuple[float, float]
    declination_deg: float
    positions: tuple[Position, ...]
    expected: ExpectedSigma
    obvious: ExpectedSigma
    obvious_in_reach: bool
    crosses_meridian: bool
    camera: PlanCamera
    notices: tuple[Notice, ...]

    @property
    def arc_deg(self) -> float:
        """From the first frame to the last. [deg]"""
        return sum(position.turn_deg for position in self.positions)


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A sweep that can be taken; cost is its variance for a pointing noise of 1."""

    distance: float
    angles: Array
    cost: float
    across: float
    up: float
    lowest_deg: float

    @property
    def arc(self) -> float:
        return float(self.angles[-1] - self.angles[0])


def plan_sweep(sky: Sky, utc: tuple[float, float], camera: PlanCamera, wish: SweepWish) -> SweepPlan:
    """Plan a sweep.

    Parameters
    ----------
    sky : Sky
        Site and air.
    utc : tuple of float
        Of the first frame, two-part Julian date; Sun and Moon are kept away from where they stand then.
    camera : PlanCamera
    wish : SweepWish

    Returns
    -------
    SweepPlan
        Of all sweeps within a tenth of the least sigma the one that stands highest. Where the obvious choice is in reach,
        neither sigma is larger than its own, unless a stated declination forces it.

    Raises
    ------
    GeometryError
        No sweep of so many frames is in reach; the text says what limits it.
    """
    avoided, notices = kept_away(utc, sky)
    reach = replace(wish.reach, avoided=(*wish.reach.avoided, *avoided))
    axis = sky.refracted_pole.direction
    obvious, in_reach = _obvious(axis, sky.is_north, camera, replace(wish, reach=reach))
    limit = (_across(obvious, axis), obvious.altitude_arcmin) if in_reach and wish.frames >= 3 else None
    best = _best(axis, sky, camera, replace(wish, reach=reach), limit)
    if best is None:
        raise GeometryError(_nothing(axis, sky, wish, reach), 0.0)
    sweep = (axis, best.distance, best.angles, sky.is_north, camera)
    expected = with_sag(expected_sigma(*sweep), *sweep)
    crosses = bool(best.angles[0] < -1e-9 and best.angles[-1] > 1e-9)
    if crosses and reach.limits.past_meridian is None:
        notices = (*notices, _CROSSES)
    return SweepPlan(
        sky=sky,
        utc=utc,
        declination_deg=_declination(best, sky),
        positions=_positions(axis, sky, utc, best),
        expected=expected,
        obvious=obvious,
        obvious_in_reach=in_reach,
        crosses_meridian=crosses,
        camera=camera,
        notices=(*notices, *([ASSUMED_CAMERA] if camera.assumed else [])),
    )


_CROSSES = Notice(
    "crosses-meridian",
    "The sweep passes the meridian. A German mount must be able to follow that far without the tube meeting the tripod: "
    "try it by hand first. State how far yours goes as past_meridian_deg in [mount.limits] of the rig file.",
    ("rig",),
)


def _best(
    axis: Array, sky: Sky, camera: PlanCamera, wish: SweepWish, limit: tuple[float, float] | None
) -> _Candidate | None:
    """The sweep on one side of the meridian; one across it where that gains enough, or is the only one."""
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
) -> Iterator[_Candidate]:
    """The best sweep of each declination in each window."""
    step = _STEP_DEG * DEGREE
    for begin, end in windows:
        angles = np.arange(np.ceil(begin / step - 1e-9), np.floor(end / step + 1e-9) + 1) * step
        for distance in _distances(sky, wish):
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


def _distances(sky: Sky, wish: SweepWish) -> list[float]:
    """Distances of the camera from the pole to try. [rad]"""
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


def _candidate(information: Array, distance: float, angles: Array, looks: Array) -> _Candidate:
    across, up = (float(variance) for variance in _variances(information))
    lowest = float(np.arcsin(looks[:, 2].min())) / DEGREE
    return _Candidate(distance, angles, across + up, np.sqrt(across), np.sqrt(up), lowest)


def _within(candidate: _Candidate, bounds: tuple[float, float] | None) -> bool:
    return bounds is None or (candidate.across <= bounds[0] and candidate.up <= bounds[1])


def _preferred(candidates: list[_Candidate], bounds: tuple[float, float] | None) -> _Candidate | None:
    """Of those that are nearly as good as the best, the highest, then the shortest."""
    within = [candidate for candidate in candidates if _within(candidate, bounds)] or candidates
    if not within:
        return None
    least = min(candidate.cost for candidate in within)
    good = [candidate for candidate in within if candidate.cost <= _AS_GOOD**2 * least]
    return max(good, key=lambda one: (round(min(one.lowest_deg, _HIGH_DEG)), -round(one.arc, 6), -one.cost))


def _across(sigma: ExpectedSigma, axis: Array) -> float:
    """The azimuth sigma on the sky. [arcmin]"""
    return sigma.azimuth_arcmin * max(float(np.hypot(axis[0], axis[1])), 1e-12)


def _obvious(axis: Array, north: bool, camera: PlanCamera, wish: SweepWish) -> tuple[ExpectedSigma, bool]:
    declination, end = _OBVIOUS_DEG
    angles = np.linspace(-end, end, max(wish.frames, 3)) * DEGREE
    distance = (90 - declination) * DEGREE
    seen = wish.reach.sees(pointing_at(axis, distance, angles, north)).all()
    past = wish.reach.limits.past_meridian
    turns = wish.reach.limits.allows_turn(angles).all() and wish.reach.limits.arc >= 2 * end * DEGREE - 1e-9
    in_reach = bool(seen and turns and (past is None or past >= end * DEGREE - 1e-9))
    sweep = (axis, distance, angles, north, camera)
    return with_sag(expected_sigma(*sweep), *sweep), in_reach


def _positions(axis: Array, sky: Sky, utc: tuple[float, float], best: _Candidate) -> tuple[Position, ...]:
    looks = pointing_at(axis, best.distance, best.angles, sky.is_north)
    times = [add_seconds(utc, i * FRAME_S) for i in range(len(looks))]
    places = sky.icrs(looks[:, None], np.array(times))[:, 0]
    ra, dec = spherical_from_direction(places)
    azimuth, altitude = azalt_from_direction(looks)
    turns = np.diff(best.angles, prepend=best.angles[0])
    wrapped = (best.angles + np.pi) % (2 * np.pi) - np.pi
    return tuple(
        Position(
            utc=times[i],
            axis_angle_deg=round(float(wrapped[i]) / DEGREE, 6),
            turn_deg=round(float(turns[i]) / DEGREE, 6),
            declination_deg=_declination(best, sky),
            icrs_declination_deg=float(dec[i]) / DEGREE,
            right_ascension_deg=float(ra[i]) / DEGREE,
            azimuth_deg=float(azimuth[i]) / DEGREE,
            altitude_deg=float(altitude[i]) / DEGREE,
        )
        for i in range(len(looks))
    )


def _declination(best: _Candidate, sky: Sky) -> float:
    return round((90 - best.distance / DEGREE) * (1 if sky.is_north else -1), 9)


def _nothing(axis: Array, sky: Sky, wish: SweepWish, reach: Reach) -> str:
    """Why there is no plan, and what to do."""
    arcs = []
    every = np.arange(-180, 181, 5) * DEGREE
    for distance in _distances(sky, wish):
        open_turns = reach.sees(pointing_at(axis, distance, every, sky.is_north))
        arcs.append((int(open_turns.sum()), 90 - distance / DEGREE))
    most, declination = max(arcs)
    if most == 0:
        where = (
            f"at declination {wish.declination_deg:g} "
            if wish.declination_deg is not None
            else "anywhere between the given limits "
        )
        return (
            f"nothing {where}is in reach: horizon, view, lowest and highest altitude (and a bright Moon) leave no place "
            "for a frame; widen one of them, or choose another time or declination"
        )
    declination *= 1 if sky.is_north else -1
    return (
        f"{wish.frames} frames of one sweep are not in reach: at the best declination ({declination:.0f}) "
        f"{5 * (most - 1)} deg of turn are open, and the mount's limits must allow them on one side of the pier; take "
        "fewer frames, or widen horizon, view or limits"
    )
