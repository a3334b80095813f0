"""Does a field stand still in the camera, as under a guider, or does it drift as on a mount that only tracks?

No axis and no drive is so good that a field which is merely tracked stays to the arcsecond for an hour: on a perfect
axis refraction alone carries it along right ascension by 10 to 20 arcsec.
"""

from __future__ import annotations

import numpy as np

from polarcheck.axis.correlation import Component, Series
from polarcheck.axis.mixture import estimate
from polarcheck.constants import ARCSEC
from polarcheck.vectors import Array

__all__ = ["is_slow", "is_still"]

_SIGMAS = 3.0  # of the drift over the whole sequence
_UNSEEN = 5 * ARCSEC / 3600  # [rad/s] what a guide scope that bends may let through
_SLOW = 40 * ARCSEC / 3600  # [rad/s] faster, a field is not guided;
_SLOW_SHIFT = 10 * ARCSEC  # and this much besides
# length of the sequence for which an error of a held field may last: a guider undoes what is longer
_LONGEST = 0.25
_JUMP = 4.0  # times the scatter of steps from frame to frame, from which one is a jump;
_MOSTLY = 0.6  # share of the steps that are none
_FEW = 5  # frames below which their scatter tells nothing


def is_still(places: Array, seconds: Array, noise: float) -> bool:
    """Tell whether a field does not drift.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        Of the boresight among the stars. [rad]
    seconds : ndarray, shape (n,)
        [s]
    noise : float
        Assumed noise of a place. [rad]
    """
    if len(seconds) < _FEW:
        return is_slow(places, seconds)
    span = float(np.ptp(seconds))
    for column in places.T:
        drift, unsure = _drift(column, seconds, noise)
        if abs(drift) > max(unsure, _UNSEEN * span) and not _stands_between_jumps(column, span, noise):
            return False
    return True


def _stands_between_jumps(places: Array, span: float, noise: float) -> bool:
    """Whether a field stays put but for some jumps, as a guider's does that dithers: their sum is no drift."""
    steps = np.diff(places)
    off = np.abs(steps - np.median(steps))
    scatter = max(np.sqrt(2) * noise, 1.4826 * float(np.median(off)))
    quiet = off <= _JUMP * scatter
    if quiet.all() or np.count_nonzero(quiet) < _MOSTLY * len(steps):
        return False
    drift, unsure = len(steps) * float(np.mean(steps[quiet])), len(steps) * scatter / np.sqrt(np.sum(quiet))
    return bool(abs(drift) <= max(_SIGMAS * unsure, _UNSEEN * span))


def is_slow(places: Array, seconds: Array) -> bool:
    """Tell whether a field drifts so little that it may be guided, if its rotation says so."""
    span = float(np.ptp(seconds))
    time = seconds - seconds.mean()
    drifts = time @ (places - places.mean(axis=0)) / max(float(time @ time), 1e-9) * span
    return bool(np.abs(drifts).max() <= _SLOW * span + _SLOW_SHIFT)


def _drift(places: Array, seconds: Array, noise: float) -> tuple[float, float]:
    """Drift from the first to the last frame, and `_SIGMAS` standard errors of it, for noise that may last."""
    span = max(float(np.ptp(seconds)), 1.0)
    count = len(seconds)
    time = ((seconds - seconds.mean()) / span)[:, None]
    series = Series(places - places.mean(), time, np.full(count, noise), seconds, np.zeros(count, dtype=int))
    found = estimate(Component.of(series, _LONGEST))
    if found is None:
        return float(places[-1] - places[0]), _SIGMAS * np.sqrt(2) * noise
    # as far out for Student's t of so many degrees of freedom, nearly
    freedom = found.degrees_of_freedom
    quantile = np.sqrt(freedom * np.expm1(_SIGMAS**2 / freedom))
    return float(found.step[0]), float(quantile * np.sqrt(found.covariance[0, 0]))
