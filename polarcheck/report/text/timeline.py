"""A night for one target, as a table."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import Timeline
from polarcheck.report.text.drift import after_text, aim_text, target_text
from polarcheck.report.text.measurement import wrapped
from polarcheck.sky import Target
from polarcheck.times import add_seconds, iso_from_utc

__all__ = ["timeline_text"]


def timeline_text(line: Timeline, alignment: Alignment, target: Target) -> str:
    """Return a table, a time a line."""
    how = "guided" if line.guided else "unguided"
    night = line.night
    head = wrapped(
        f"{target_text(target)} from dusk {iso_from_utc(night.dusk)[:16]} to dawn {iso_from_utc(night.dawn)[:16]} UTC "
        f"(Sun below {night.sun_deg:.0f} deg), {how}, with stars moving at most {line.tolerance_arcsec:.3g} arcsec and the "
        f"axis {alignment.error.total_arcmin:.2f} arcmin from {aim_text(alignment)}."
    )
    rows = ["    UTC   altitude  hour angle   longest   Moon"]
    rows += [_row(line, i) for i in range(len(line.seconds))]
    return "\n\n".join([head, "\n".join(rows), _foot(line)])


def _row(line: Timeline, i: int) -> str:
    clock = iso_from_utc(add_seconds(line.night.dusk, float(line.seconds[i])))[11:16]
    limit = float(line.limit_s[i])
    shown = "too low" if np.isnan(limit) else "no limit" if np.isinf(limit) else after_text(limit)
    moon = line.moon_altitude_deg[i]
    return (
        f"  {clock}  {line.altitude_deg[i]:5.0f} deg  {line.hour_angle_deg[i] / 15:+8.1f} h {shown:>9}   "
        + (f"{moon:.0f} deg high" if moon >= 0 else "down")
    )


def _foot(line: Timeline) -> str:
    if line.meridian_s is None:
        crossing = "It does not cross the upper meridian in the dark."
    else:
        at = iso_from_utc(add_seconds(line.night.dusk, line.meridian_s))[11:16]
        crossing = f"It crosses the upper meridian at {at} UTC."
    free = (line.moon_altitude_deg < 0) & (line.altitude_deg >= 5)
    share = float(free.mean()) * float(line.seconds[-1]) / 3600
    moon = f"The Moon is {line.moon_lit:.0%} lit; the target is up without it for about {share:.1f} h."
    return wrapped(f"{crossing} {moon}")
