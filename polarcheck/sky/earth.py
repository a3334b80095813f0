"""The Earth's rotation on a date, from the table that comes with astropy-iers-data; no network.

Reads the few lines it needs of the fixed-width file directly: opening the whole table with astropy takes
over a second, longer than everything else in a measurement.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC
from polarcheck.errors import Notice
from polarcheck.vectors import Array

__all__ = ["EarthOrientation", "earth_orientation"]

_FIRST_MJD = 41684  # 1973-01-02, the first line of finals2000A
_MJD_OF_JD_ZERO = 2400000.5
# finals2000A, by its readme: MJD in columns 8-15, x pole 19-27, y pole 38-46 [arcsec], UT1-UTC 59-68 [s]
_COLUMNS = (slice(7, 15), slice(18, 27), slice(37, 46), slice(58, 68))


@dataclass(frozen=True, slots=True)
class EarthOrientation:
    """Earth orientation at some moments.

    Attributes
    ----------
    ut1_minus_utc_s : ndarray, shape (n,)
        UT1-UTC. [s]
    pole_x, pole_y : ndarray, shape (n,)
        Polar motion. [rad]
    notices : tuple of Notice
        Says what it costs when a date lies outside the table.
    """

    ut1_minus_utc_s: Array
    pole_x: Array
    pole_y: Array
    notices: tuple[Notice, ...] = ()

    def at(self, some: npt.NDArray[np.int_] | npt.NDArray[np.bool_]) -> EarthOrientation:
        """Return the orientation at some of the moments, by index."""
        return EarthOrientation(
            self.ut1_minus_utc_s[some], self.pole_x[some], self.pole_y[some], self.notices
        )


def earth_orientation(utc: Array) -> EarthOrientation:
    """Interpolate the bundled Earth rotation table.

    Parameters
    ----------
    utc : ndarray, shape (n, 2)
        Two-part UTC Julian dates.

    Returns
    -------
    EarthOrientation
        Linear in time between daily values; a leap second between two days is taken out first. Outside
        the table the nearest value stands, with a notice.

    References
    ----------
    .. [1] IERS Rapid Service, finals2000A.all and its readme, as shipped in astropy-iers-data.
    """
    mjd = (utc[:, 0] - _MJD_OF_JD_ZERO) + utc[:, 1]
    table = _rows(int(np.floor(mjd.min())), int(np.floor(mjd.max())) + 1)
    days, values = table[:, 0], table[:, 1:].copy()
    values[:, 2] = _without_leap_seconds(values[:, 2])
    x, y, dut1 = (np.interp(mjd, days, values[:, i]) for i in range(3))
    near = np.clip(np.searchsorted(days, np.floor(mjd), side="right") - 1, 0, len(days) - 1)
    leap = np.round(values[near, 2] - table[near, 3])
    outside = bool((mjd < days[0]).any() or (mjd > days[-1]).any())
    return EarthOrientation(dut1 - leap, x * ARCSEC, y * ARCSEC, (_OUTSIDE,) if outside else ())


_OUTSIDE = Notice(
    "earth-rotation-unknown",
    "A date lies outside the bundled Earth rotation table, so the nearest values stand for UT1-UTC and "
    "polar motion. That may turn the axis by up to 27 arcsec about the pole (0.5 arcsec for an error of "
    "1 deg) and move it by up to 1 arcsec. A newer astropy-iers-data has later dates.",
)


def _without_leap_seconds(dut1: Array) -> Array:
    steps = np.round(np.diff(dut1, prepend=dut1[0]))
    return np.asarray(dut1 - np.cumsum(steps))


def _rows(first_mjd: int, last_mjd: int) -> Array:
    """Rows (MJD, x, y, UT1-UTC) that cover the days asked for, or the table's nearest ones."""
    lines = _lines()
    last_known = len(lines) - 1
    while not lines[last_known][_COLUMNS[3]].strip():
        last_known -= 1
    low = min(max(first_mjd - _FIRST_MJD, 0), last_known)
    high = min(max(last_mjd - _FIRST_MJD, 0), last_known)
    return np.array([[float(line[c]) for c in _COLUMNS] for line in lines[low : high + 1]])


@lru_cache(maxsize=1)
def _lines() -> list[bytes]:
    """Return the table's lines, a day each, read once."""
    import astropy_iers_data

    return Path(astropy_iers_data.IERS_A_FILE).read_bytes().splitlines()
