"""Frames of a guided field among those of a sweep, as a folder has them that a whole night goes into.

A guider moves the declination, so where such frames stand contradicts the sweep, or worse: of themselves they say that
the axis is perfect. Only a field's first frame, from before the guider had moved, may be one of the sweep's.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.course import Course, followed_fields
from polarcheck.axis.fit import AxisFit
from polarcheck.axis.stillness import is_still
from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.vectors import Array, angle_between, tangent_basis, unit

__all__ = ["LONG_S", "contradicts_tracking", "guided_in_sweep", "still_runs"]

Ints = npt.NDArray[np.int_]

_DITHER = 0.15 * DEGREE  # from frame to frame of one field, at most
_LEAST_FRAMES = 3  # of a field that tell whether it stands still,
_FEW = 5  # frames below which a field counts as held if it stays
_DITHERED = 100 * ARCSEC  # within so much
_CLEAR = 5.0  # standard errors of a drift that noise does not make
_ANOTHER = 3 * DEGREE  # a declination further off was moved by hand, or by a slew, not by a knob

LONG_S = 600.0
"""A position of a sweep is left sooner; a field that stands still for longer is guided whatever else. [s]"""


def guided_in_sweep(
    observed: Array, weights: Array, noise: Array, camera: Ints, course: Course
) -> npt.NDArray[np.bool_]:
    """Tell which frames, beyond the first of their field, a guider held while the others are of a sweep.

    Parameters
    ----------
    observed, weights, noise, camera, course
        As for `fit_axis`.

    Returns
    -------
    ndarray of bool, shape (n,)
        None where no field was held, or where nearly all frames followed fields: these are not a sweep.
    """
    held = np.zeros(len(observed), dtype=bool)
    if course.guided is False or course.sky is None:
        return held
    if followed_fields(camera_attitudes(observed, weights, camera, noise), course) is not None:
        return held
    for run in still_runs(weights, noise, camera, course, LONG_S):
        held[run[1:]] = True
    return held


def still_runs(weights: Array, noise: Array, camera: Ints, course: Course, least_s: float) -> list[Ints]:
    """Return the runs of frames on one field that stands still, by index, each with its first frame.

    Parameters
    ----------
    weights, noise, camera, course
        As for `fit_axis`; a course with places among the stars.
    least_s : float
        From first frame to last. [s]
    """
    assert course.sky is not None
    centre = unit(np.einsum("k,nki->ni", weights, course.sky))
    found: list[Ints] = []
    for c in np.unique(camera):
        mine = np.flatnonzero(camera == c)
        apart = angle_between(centre[mine[1:]], centre[mine[:-1]]) > _DITHER
        runs = np.split(mine, np.flatnonzero(apart) + 1)
        found += [run for run in runs if _is_held(centre[run], course, run, noise, least_s)]
    return found


def _is_held(centre: Array, course: Course, run: Ints, noise: Array, least_s: float) -> bool:
    seconds = course.seconds[run]
    if len(run) < _LEAST_FRAMES or np.ptp(seconds) < least_s:
        return False
    places = (centre - centre.mean(axis=0)) @ tangent_basis(unit(centre.mean(axis=0)))
    if course.guided or (len(run) < _FEW and np.ptp(places, axis=0).max() < _DITHERED):
        return True
    return is_still(places, seconds, float(np.median(noise[run])))


def contradicts_tracking(
    attitudes: Attitudes, run: Ints, seconds: Array, sweep: AxisFit, others: Ints
) -> bool:
    """Tell whether a mount that only tracks about a sweep's axis would have carried a field's frames elsewhere.

    Where the run's first frame already lies arcminutes beside the sweep's declination, a knob may have been turned
    before it: then the run is not taken for a guided one.

    Parameters
    ----------
    attitudes : Attitudes
        Of all frames.
    run : ndarray of int
        The field's frames, by index.
    seconds : ndarray, shape (n,)
        Of all frames. [s]
    sweep : AxisFit
        The axis without the run.
    others : ndarray of int
        The frames in use there, by index.
    """
    inner = np.einsum("nji,j->ni", attitudes.matrices, sweep.axis)
    distance = angle_between(inner, attitudes.boresights[attitudes.camera])
    noise = float(np.median(attitudes.noise[run])) * max(sweep.noise, 1.0)
    time = seconds[run] - seconds[run].mean()
    slope = float(time @ distance[run] / (time @ time))
    left = distance[run] - distance[run].mean() - slope * time
    noise = max(noise, float(np.sqrt(left @ left / max(len(run) - 2, 1))))
    span = float(np.ptp(seconds[run]))
    wobble = np.sqrt(np.trace(sweep.covariance)) * SIDEREAL_RATE * span  # what an axis that is off feigns
    if abs(slope) * span < _CLEAR * np.hypot(noise * span / np.sqrt(time @ time), wobble):
        return False
    mates = others[(attitudes.camera[others] == attitudes.camera[run[0]]) & ~np.isin(others, run)]
    beside = np.abs(distance[mates] - distance[run[0]])
    return not len(mates) or bool(beside.min() < _CLEAR * noise or beside.min() > _ANOTHER)
