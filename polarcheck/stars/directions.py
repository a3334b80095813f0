"""Whether the long axes of stars have a direction in common."""

from __future__ import annotations

import numpy as np

from polarcheck.vectors import Array

__all__ = ["LEAST_STARS", "common_direction"]

LEAST_STARS = 5  # to say anything of a trail
_CHANCE = 2e-3  # that directions at random agree as well as a common one must


def common_direction(ellipticity: Array) -> tuple[float | None, float | None, bool]:
    """Return the common direction, how well the stars agree on it, and whether that is more than chance.

    Parameters
    ----------
    ellipticity : ndarray, shape (n, 2)
        Second moments (xx - yy, 2 xy) over (xx + yy).

    Returns
    -------
    float or None
        From +x towards +y, within [0, 180); None of too few stars. [deg]
    float or None
        Length of the mean of the directions (doubled angles).
    bool
        By the Rayleigh test.
    """
    if len(ellipticity) < LEAST_STARS:
        return None, None, False
    middle = np.median(ellipticity, axis=0)
    length = np.hypot(ellipticity[:, 0], ellipticity[:, 1])
    turns = ellipticity / np.maximum(length, 1e-9)[:, None]
    agreement = float(np.hypot(*turns.mean(axis=0)))
    angle = float(np.degrees(np.arctan2(middle[1], middle[0])) / 2 % 180)
    return angle, agreement, _chance(agreement, len(ellipticity)) < _CHANCE


def _chance(agreement: float, count: int) -> float:
    """Probability that as many directions at random agree so well: the Rayleigh test.

    References
    ----------
    .. [1] J. H. Zar, Biostatistical Analysis, the approximation of the Rayleigh test's probability (from memory).
    """
    squares = count**2 * (1 - agreement**2)
    return float(np.exp(np.sqrt(1 + 4 * count + 4 * squares) - (1 + 2 * count)))
