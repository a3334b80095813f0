"""How far a mount that tracks ran off the sky's rate: what shifts it along may shift and turn the camera aside, too.

A drive that is fast, a mount that bends and a camera that slips all carry the field along right ascension. A drive
does no harm, the others turn the field as well, steadily, as another axis would. Which it was nothing tells; but a
mount that keeps the sky's rate to arcseconds does not bend by arcminutes.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.correlation import Component, Series
from polarcheck.axis.least_squares import turn_about
from polarcheck.axis.mixture import estimate
from polarcheck.constants import SIDEREAL_RATE
from polarcheck.vectors import Array

__all__ = ["run_off"]

_CLEAR = 2.0  # standard errors that may be noise


def run_off(
    attitudes: Attitudes,
    seconds: Array,
    groups: npt.NDArray[np.int_],
    used: npt.NDArray[np.bool_],
    axis: Array,
) -> float:
    """Return how far the mount steadily ran off the sidereal rate from first frame to last, beyond its noise. [rad]

    Parameters
    ----------
    attitudes : Attitudes
        The frames in order of time.
    seconds : ndarray, shape (n,)
        [s]
    groups : ndarray of int, shape (n,)
        Each group has a start of its own.
    used : ndarray of bool, shape (n,)
        Others are passed over.
    axis : ndarray, shape (3,)
        Near the mount's; to first order it does not matter.
    """
    if not used.any() or np.ptp(seconds[used]) <= 0:
        return 0.0
    turned = np.zeros(len(seconds))
    for g in np.unique(groups[used]):
        mine = np.flatnonzero(groups == g)
        turned[mine] = turn_about(axis, attitudes.matrices[mine] @ attitudes.matrices[mine[0]].T)
        turned[mine] += np.sign(axis[1]) * SIDEREAL_RATE * (seconds[mine] - seconds[mine[0]])
    time = ((seconds - seconds[used].mean()) / np.ptp(seconds[used]))[:, None]
    series = Series(turned[used], time[used], attitudes.noise[used], seconds[used], groups[used])
    found = estimate(Component.of(series))
    if found is None:
        return 0.0
    return float(np.sqrt(max(found.step[0] ** 2 - _CLEAR**2 * found.covariance[0, 0], 0.0)))
