"""Longest exposures over the sky, as a table."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import SkyMap
from polarcheck.report.text.drift import aim_text
from polarcheck.report.text.measurement import wrapped
from polarcheck.vectors import Array

__all__ = ["map_text", "short_time"]

_HOURS = np.arange(-6.0, 6.1, 1.5)


def map_text(sky: SkyMap, alignment: Alignment) -> str:
    """Return a table, declinations down and hour angles across."""
    how = "guided" if sky.guided else "unguided"
    head = wrapped(
        f"Longest {how} exposures over the sky, with stars moving at most {sky.tolerance_arcsec:.3g} arcsec and the axis "
        f"{alignment.error.total_arcmin:.2f} arcmin from {aim_text(alignment)}."
    )
    lines = ["  declination   hour angle, h (east of the meridian is minus)"]
    lines.append("  " + " " * 8 + "".join(f"{hour:+7.1f}" for hour in _HOURS))
    rows = np.arange(len(sky.declination_deg))[:: max(1, round(9 / _step(sky.declination_deg)))]
    for i in rows[::-1]:
        cells = [_cell(sky.limit_s[i], sky.hour_angle_deg, 15 * hour) for hour in _HOURS]
        lines.append(f"  {sky.declination_deg[i]:+7.0f} " + "".join(f"{cell:>7}" for cell in cells))
    foot = wrapped(
        "s, m, h: seconds, minutes, hours; -: no limit within 6 h or until it sets; .: below 5 deg."
    )
    return "\n".join([head, "", *lines, "", foot])


def _step(values: Array) -> float:
    return float(np.abs(np.diff(values)).mean()) if len(values) > 1 else 1.0


def _cell(row: Array, hour_angles: Array, at: float) -> str:
    return short_time(float(row[int(np.argmin(np.abs(hour_angles - at)))]))


def short_time(seconds: float) -> str:
    """Return a time in four characters: ``45s``, ``12m``, ``3.2h``; ``-`` without limit, ``.`` where unknown."""
    if np.isnan(seconds):
        return "."
    if np.isinf(seconds):
        return "-"
    if seconds < 9.95:
        return f"{seconds:.1f}s"
    if seconds < 119.5:
        return f"{seconds:.0f}s"
    return f"{seconds / 60:.0f}m" if seconds < 119.5 * 60 else f"{seconds / 3600:.1f}h"
