"""Frames of a guided field among those of a sweep, as a folder has them that a whole night goes into.

A guider moves the declination, so where such frames stand contradicts the sweep, or worse: of themselves they say that
the axis is perfect. Only a field's first frame, from before the guider had moved, may be one of the sweep's.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import camera_attitudes
from polarcheck.axis.course import Course, followed_fields
from polarcheck.axis.stillness import is_still
from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.vectors import Array, angle_between, tangent_basis, unit

__all__ = ["guided_in_sweep"]

Ints = npt.NDArray[np.int_]

_DITHER = 0.15 * DEGREE  # from frame to frame of one field, at most
_LEAST_FRAMES = 3  # of a field that tell whether it stands still,
_LEAST_SECONDS = 600.0  # over so long: a position of a sweep is left sooner
_FEW = 5  # frames below which a field counts as held if it stays
_DITHERED = 100 * ARCSEC  # within so much


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
    centre = unit(np.einsum("k,nki->ni", weights, course.sky))
    for c in np.unique(camera):
        mine = np.flatnonzero(camera == c)
        apart = angle_between(centre[mine[1:]], centre[mine[:-1]]) > _DITHER
        for run in np.split(mine, np.flatnonzero(apart) + 1):
            held[run[1:]] = _is_held(centre[run], course, run, noise)
    return held


def _is_held(centre: Array, course: Course, run: Ints, noise: Array) -> bool:
    seconds = course.seconds[run]
    if len(run) < _LEAST_FRAMES or np.ptp(seconds) < _LEAST_SECONDS:
        return False
    places = (centre - centre.mean(axis=0)) @ tangent_basis(unit(centre.mean(axis=0)))
    if course.guided or (len(run) < _FEW and np.ptp(places, axis=0).max() < _DITHERED):
        return True
    return is_still(places, seconds, float(np.median(noise[run])))
