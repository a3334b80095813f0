"""How frames followed each other: which of them followed one field, as a tracking mount does.

A sweep turns the mount between frames; a tracked sequence stays on a field while the sky turns. The two want other
treatment: errors of frames minutes apart on one field are alike (drive, flexure, seeing, a guider), so that the
tests which sort the frames of a sweep would find steps and groups in what is a slow bend.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.constants import DEGREE, SIDEREAL_RATE
from polarcheck.vectors import Array, angle_between, best_rotations

__all__ = ["Course", "Track", "followed_fields"]

Ints = npt.NDArray[np.int_]

_DRIFT_SHARE = 0.2  # of the sky's motion: a mount that follows the sky worse than this does not track
_DITHER = 0.15 * DEGREE  # and this much it may be moved besides between two frames: dithering, wind, centring
_TURNED = (
    3 * DEGREE
)  # a camera rotated further than this was moved by hand, or the mount changed the pier side
_RUNS_OPEN = 4  # runs that a frame may go on
_LEAST_RUN = 3  # frames that follow one field in sequence
_MOST_STRAY = 0.2  # of all frames, that may follow no field
_LONGEST_SLEW = 1.0  # slews between fields over turns while tracking, up to which the frames count as tracked


@dataclass(frozen=True, slots=True)
class Course:
    """When the frames were taken, and where among the stars they looked.

    Attributes
    ----------
    seconds : ndarray, shape (n,)
        Mid-exposures, from any start, growing. [s]
    sky : ndarray, shape (n, k, 3), or None
        ICRS unit vectors of the sensor points; without them no field is looked for that the frames followed.
    guided : bool or None
        Whether a guider held a star; None: the frames must tell.
    """

    seconds: Array
    sky: Array | None = None
    guided: bool | None = None


@dataclass(frozen=True, slots=True)
class Track:
    """Frames that followed one field or several, each over a time of its own.

    Attributes
    ----------
    groups : ndarray of int, shape (n,)
        Number of the field followed, counted from 0; -1 for frames that follow none (solved elsewhere).
    seconds : ndarray, shape (n,)
        Mid-exposures. [s]
    places : ndarray, shape (n, 2)
        Of the boresight among the stars: east and north of its field's mean. [rad]
    """

    groups: Ints
    seconds: Array
    places: Array


def followed_fields(attitudes: Attitudes, course: Course) -> Track | None:
    """Sort frames by the field that they followed.

    Parameters
    ----------
    attitudes : Attitudes
        The frames in order of time.
    course : Course
        Their times and places.

    Returns
    -------
    Track or None
        None where the frames were not tracked on fields, but the mount was turned between them.
    """
    if course.sky is None:
        return None
    cameras = _cameras(attitudes, course.sky)
    centre = np.einsum("nij,nj->ni", cameras, attitudes.boresights[attitudes.camera])
    groups = np.full(len(centre), -1)
    tracked = slewed = 0.0
    for c in range(len(attitudes.templates)):
        mine = np.flatnonzero(attitudes.camera == c)
        runs = _runs(course.seconds[mine], cameras[mine], centre[mine])
        if runs is None:
            return None
        groups[mine] = np.where(runs < 0, -1, runs + groups.max() + 1)
        turns = _turns(runs, course.seconds[mine], centre[mine])
        tracked, slewed = tracked + turns[0], slewed + turns[1]
    if tracked == 0 or slewed > _LONGEST_SLEW * tracked:
        return None
    return Track(groups, course.seconds, _places(groups, centre))


def _cameras(attitudes: Attitudes, sky: Array) -> Array:
    """Attitudes that carry camera directions to ICRS ones, shape (n, 3, 3)."""
    found = np.empty((len(sky), 3, 3))
    for c, template in enumerate(attitudes.templates):
        mine = attitudes.camera == c
        found[mine] = best_rotations(template, sky[mine], attitudes.weights)
    return found


def _runs(seconds: Array, cameras: Array, centre: Array) -> Ints | None:
    """Number the runs of one camera's frames on one field each; -1 for strays; None where most do not track.

    A run may be broken by frames that look elsewhere.
    """
    count = len(seconds)
    goes_on = _follow(np.arange(count - 1), np.arange(1, count), seconds, cameras, centre)
    if count > 1 and goes_on.mean() < 0.5:
        return None
    runs = np.zeros(count, dtype=int)
    lasts = [0]  # the last frame of each run so far
    for i in range(1, count):
        run = int(runs[i - 1])
        if not goes_on[i - 1] or run < len(lasts) - _RUNS_OPEN:
            late = np.array(sorted(lasts[-_RUNS_OPEN:], reverse=True))  # the latest first
            near = late[_follow(late, np.full(len(late), i), seconds, cameras, centre)]
            run = int(runs[near[0]]) if len(near) else len(lasts)
        lasts[run : run + 1] = [i]
        runs[i] = run
    sizes = np.bincount(runs)
    live = np.flatnonzero(sizes >= min(_LEAST_RUN, count))
    number = np.full(len(sizes), -1)
    number[live] = np.arange(len(live))
    return None if np.count_nonzero(number[runs] < 0) > _MOST_STRAY * count else number[runs]


def _follow(
    before: Ints, after: Ints, seconds: Array, cameras: Array, centre: Array
) -> npt.NDArray[np.bool_]:
    """Whether frames look where earlier ones did, but for what a mount that tracks drifts."""
    reach = _DITHER + _DRIFT_SHARE * SIDEREAL_RATE * np.abs(seconds[after] - seconds[before])
    near = np.linalg.norm(centre[after] - centre[before], axis=-1) <= reach
    trace = np.einsum("nij,nij->n", cameras[before], cameras[after])  # one and twice the cosine of the turn
    return np.asarray(near & (trace > 1 + 2 * np.cos(_TURNED)))


def _turns(runs: Ints, seconds: Array, centre: Array) -> tuple[float, float]:
    """How far the mount turned while it followed fields, and how far between them. [rad]"""
    good = np.flatnonzero(runs >= 0)
    before, after = good[:-1], good[1:]
    same = runs[before] == runs[after]
    tracked = SIDEREAL_RATE * np.sum((seconds[after] - seconds[before])[same])
    slewed = np.sum(angle_between(centre[before], centre[after])[~same])
    return float(tracked), float(slewed)


def _places(groups: Ints, centre: Array) -> Array:
    places = np.zeros((len(groups), 2))
    for g in range(groups.max() + 1):
        mine = groups == g
        mean = centre[mine].mean(axis=0)
        east = np.cross([0.0, 0.0, 1.0], mean)
        east /= max(float(np.linalg.norm(east)), 1e-12)
        places[mine] = (centre[mine] - mean) @ np.stack([east, np.cross(mean, east)], axis=-1)
    return places
