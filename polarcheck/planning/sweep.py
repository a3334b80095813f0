"""Which frames to take: the declination and the turns of a sweep that tell the axis best, among those in reach.

All frames of a sweep share one declination and one side of the pier; the mount turns westward from each to the next,
so that its gear stays on one flank and tracking begins without a pause.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.axis import Reach, pointing_at
from polarcheck.constants import DEGREE
from polarcheck.errors import GeometryError, Notice
from polarcheck.planning.avoided import kept_away
from polarcheck.planning.expected import (
    ASSUMED_CAMERA,
    ExpectedSigma,
    PlanCamera,
    expected_sigma,
    with_sag,
)
from polarcheck.planning.sweep_search import Candidate, SweepWish, best_sweep, distances
from polarcheck.sky import Sky
from polarcheck.times import add_seconds
from polarcheck.vectors import Array, azalt_from_direction, spherical_from_direction

__all__ = ["Position", "SweepPlan", "plan_sweep"]

_FRAME_S = 90.0  # from one frame to the next: a turn, settling, an exposure
_OBVIOUS_DEG = (60.0, 30.0)  # declination and the hour angle at both ends of the obvious choice


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
    best = best_sweep(axis, sky, camera, replace(wish, reach=reach), limit)
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


def _positions(axis: Array, sky: Sky, utc: tuple[float, float], best: Candidate) -> tuple[Position, ...]:
    looks = pointing_at(axis, best.distance, best.angles, sky.is_north)
    times = [add_seconds(utc, i * _FRAME_S) for i in range(len(looks))]
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


def _declination(best: Candidate, sky: Sky) -> float:
    return round((90 - best.distance / DEGREE) * (1 if sky.is_north else -1), 9)


def _nothing(axis: Array, sky: Sky, wish: SweepWish, reach: Reach) -> str:
    """Why there is no plan, and what to do."""
    arcs = []
    every = np.arange(-180, 181, 5) * DEGREE
    for distance in distances(sky, wish):
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
