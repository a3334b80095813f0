"""Stars that serve as a mark: bright, not saturated, round, alone, and away from the edge."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.stars.table import StarTable

__all__ = ["mark_candidates"]

_ROUND = 1.35  # elongation
_REACH_FWHM = 8.0
_RIVAL = 0.1  # of the brightness, that no neighbour may have


def mark_candidates(table: StarTable, margin_px: float) -> npt.NDArray[np.int_]:
    """Return the stars that an eye finds again, the best first.

    Parameters
    ----------
    table : StarTable
    margin_px : float
        Least distance from the edge. [px]

    Returns
    -------
    ndarray of int
        Indices into the table, the brightest first.
    """
    x, y = table.x_px, table.y_px
    edge = np.minimum.reduce([x, y, table.width_px - 1 - x, table.height_px - 1 - y])
    with np.errstate(invalid="ignore"):
        fit = table.has_shape & (table.elongation < _ROUND) & (edge > margin_px)
    if not fit.any():
        return np.zeros(0, dtype=int)
    reach = _REACH_FWHM * float(np.nanmedian(table.fwhm_px[fit]))
    some = np.flatnonzero(fit)
    lonely = [i for i in some if not _has_rival(table, int(i), reach)]
    return np.asarray(lonely if lonely else some, dtype=int)  # in a crowd, any star is better than none


def _has_rival(table: StarTable, i: int, reach: float) -> bool:
    near = np.hypot(table.x_px - table.x_px[i], table.y_px - table.y_px[i]) < reach
    near[i] = False
    return bool((table.flux[near] > _RIVAL * table.flux[i]).any())
