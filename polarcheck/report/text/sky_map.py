"""Longest exposures over the sky, as a table."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import SkyMap
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.words import guided_word, off_text, short_length
from polarcheck.vectors import Array

__all__ = ["map_text"]

_HOURS = np.arange(-6.0, 6.1, 1.5)
_ROW_DEG = 9.0
_FOOT = "s, m, h: seconds, minutes, hours; -: no limit within 6 h or until it sets; .: below 5 deg{}."


def map_text(sky: SkyMap, alignment: Alignment) -> str:
    """Return a table, declinations down and hour angles across."""
    head = wrapped(
        f"Longest {guided_word(sky.guided)} exposures over the sky, with stars moving at most "
        f"{sky.tolerance_arcsec:.3g} arcsec and the axis {off_text(alignment)}. Hour angles in hours, east of the meridian "
        "is minus; declinations in degrees."
    )
    columns = [Column("hour angle\ndeclination", "<"), *(Column(f"{hour:+.1f}\n") for hour in _HOURS)]
    every = max(1, round(_ROW_DEG / _step(sky.declination_deg)))
    rows = []
    for i in np.arange(len(sky.declination_deg))[::every][::-1]:
        cells = [_cell(sky.limit_s[i], sky.hour_angle_deg, 15 * hour) for hour in _HOURS]
        if set(cells) == {short_length(float("nan"))}:
            continue  # nowhere above 5 deg in these hours
        rows.append([f"{sky.declination_deg[i]:+11.0f}", *cells])
    return "\n\n".join(
        [
            head,
            table(columns, rows),
            wrapped(_FOOT.format("" if sky.hidden is None else ", or behind the rig file's horizon")),
        ]
    )


def _step(values: Array) -> float:
    return float(np.abs(np.diff(values)).mean()) if len(values) > 1 else 1.0


def _cell(row: Array, hour_angles: Array, at: float) -> str:
    return short_length(float(row[int(np.argmin(np.abs(hour_angles - at)))]))
