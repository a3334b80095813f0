"""What the stars of one frame say together: medians, a map over the sensor, and whether the mount still moved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.stars.directions import LEAST_STARS, common_direction
from polarcheck.stars.table import StarTable
from polarcheck.vectors import Array

__all__ = ["StarSummary", "summarise"]

_MOST = 500  # brightest stars that count for the shape
_MAP_ROWS, _MAP_COLUMNS = 3, 4
_SHORTEST_PX = 0.5  # a shorter trail is told neither from tilt nor from coma
# px: below, whether stars are integrated over pixels, which a frame does not tell, makes more than 10 % of their width
_SMALLEST_PX = 1.58
_SURE = 0.02  # relative standard error of the frame's width, beyond which it is unknown
_FEW = 20  # stars whose median deviation may be small by luck: their standard deviation counts, too
_HANDFUL, _OF_MANY = 12, 0.05  # fewer stars, and a smaller part of those found, are exceptions among them
# a Gaussian star's trail of 1.2 FWHM makes an elongation of 1.3; wings make less of it
_MOVED_ELONGATION, _MOVED_FWHM, _MOVED_AGREEMENT = 1.3, 1.2, 0.8


@dataclass(frozen=True, slots=True)
class StarSummary:
    """Medians over the stars of a frame.

    Attributes
    ----------
    stars : int
        Stars found, saturated ones included.
    shaped : int
        Stars whose shape counts.
    fwhm_px : float or None
        Full width at half maximum across the stars' long axes; None where few stars or their scatter leave it open. [px]
    elongation : float or None
        Major over minor axis of the second moments.
    trail_angle_deg : float or None
        Direction that the stars have in common beyond chance, from +x towards +y, within [0, 180). [deg]
    trail_px : float or None
        Length of the trail; None where it cannot be told from none. [px]
    agreement : float or None
        Length of the mean of the stars' directions (doubled angles): 1 if all are alike, near 0 at random.
    map_fwhm_px, map_elongation : ndarray, shape (3, 4)
        Medians over parts of the sensor, the first row at the lowest y; NaN without stars. [px]
    map_ellipticity : ndarray, shape (3, 4, 2)
        Likewise, of the second moments' (xx - yy, 2 xy) over (xx + yy).
    has_moved : bool
        Whether all stars are long alike, as when the mount still moved while the frame was taken.
    """

    stars: int
    shaped: int
    fwhm_px: float | None
    elongation: float | None
    trail_angle_deg: float | None
    trail_px: float | None
    agreement: float | None
    map_fwhm_px: Array
    map_elongation: Array
    map_ellipticity: Array
    has_moved: bool


def summarise(table: StarTable) -> StarSummary:
    """Return the medians over the brightest stars whose shape counts.

    Parameters
    ----------
    table : StarTable

    Returns
    -------
    StarSummary
        None for what too few stars can tell.
    """
    some = np.flatnonzero(table.has_shape & np.isfinite(table.elongation))[:_MOST]
    angle, agreement, is_common = common_direction(table.ellipticity[some])
    trail = _median(table.trail_px[some])
    is_trail = is_common and trail is not None and trail >= _SHORTEST_PX
    elongation = _median(table.elongation[some])
    widths = table.across_px
    fwhm = _sure_median(widths[some], len(table))
    return StarSummary(
        stars=len(table),
        shaped=len(some),
        fwhm_px=fwhm,
        elongation=elongation,
        trail_angle_deg=angle if is_common else None,
        trail_px=trail if is_trail else None,
        agreement=agreement,
        map_fwhm_px=_map(table, some, widths),
        map_elongation=_map(table, some, table.elongation),
        map_ellipticity=np.stack([_map(table, some, e) for e in table.ellipticity.T], axis=-1),
        has_moved=bool(
            is_trail and agreement and agreement > _MOVED_AGREEMENT and _is_long(trail, fwhm, elongation)
        ),
    )


def _is_long(trail: float | None, fwhm: float | None, elongation: float | None) -> bool:
    return bool(
        (elongation and elongation > _MOVED_ELONGATION) or (trail and fwhm and trail > _MOVED_FWHM * fwhm)
    )


def _sure_median(values: Array, found: int) -> float | None:
    """The median; None where few values, their scatter, or few of many stars found leave it open."""
    known = values[np.isfinite(values)]
    count = len(known)
    if count < LEAST_STARS or count < min(_HANDFUL, _OF_MANY * found):
        return None
    middle = float(np.median(known))
    scatter = 1.4826 * float(np.median(np.abs(known - middle)))
    if count < _FEW:
        # about what Student's t adds to a normal error
        scatter = max(scatter, float(np.std(known, ddof=1))) * (1 + 1.6 / (count - 1))
    is_sure = 1.2533 * scatter < _SURE * middle * np.sqrt(count)
    return middle if is_sure and middle > _SMALLEST_PX else None


def _median(values: Array) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else None


def _map(table: StarTable, some: npt.NDArray[np.int_], values: Array) -> Array:
    rows = np.minimum((table.y_px[some] / table.height_px * _MAP_ROWS).astype(int), _MAP_ROWS - 1)
    columns = np.minimum((table.x_px[some] / table.width_px * _MAP_COLUMNS).astype(int), _MAP_COLUMNS - 1)
    found = np.full((_MAP_ROWS, _MAP_COLUMNS), np.nan)
    for i in range(_MAP_ROWS):
        for j in range(_MAP_COLUMNS):
            here = _median(values[some[(rows == i) & (columns == j)]])
            found[i, j] = np.nan if here is None else here
    return found
