"""A night for one target, as a table."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import Timeline
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.words import clock_text, guided_word, length_in_table, off_text, target_text
from polarcheck.sky import Target
from polarcheck.times import add_seconds, iso_from_utc

__all__ = ["timeline_text"]

_COLUMNS = (
    Column("UTC"),
    Column("altitude\ndeg"),
    Column("hour angle\nh", narrow="drop"),
    Column("longest"),
    Column("Moon\ndeg"),
)


def timeline_text(line: Timeline, alignment: Alignment, target: Target) -> str:
    """Return a table, a time a line."""
    night = line.night
    head = wrapped(
        f"{target_text(target)} from dusk {iso_from_utc(night.dusk)[:16]} to dawn {iso_from_utc(night.dawn)[:16]} UTC "
        f"(Sun below {night.sun_deg:.0f} deg), {guided_word(line.guided)}, with stars moving at most "
        f"{line.tolerance_arcsec:.3g} arcsec and the axis {off_text(alignment)}."
    )
    rows = [_row(line, i) for i in range(len(line.seconds)) if not np.isnan(line.limit_s[i])]
    return "\n\n".join([head, table(_COLUMNS, rows), _foot(line)])


def _row(line: Timeline, i: int) -> tuple[str, ...]:
    limit = float(line.limit_s[i])
    moon = line.moon_altitude_deg[i]
    return (
        clock_text(add_seconds(line.night.dusk, float(line.seconds[i]))),
        f"{line.altitude_deg[i]:.0f}",
        f"{line.hour_angle_deg[i] / 15:+.1f}",
        "no limit" if np.isinf(limit) else length_in_table(limit),
        f"{moon:.0f}" if moon >= 0 else "down",
    )


def _foot(line: Timeline) -> str:
    if line.meridian_s is None:
        crossing = "It does not cross the upper meridian in the dark."
    else:
        at = clock_text(add_seconds(line.night.dusk, line.meridian_s))
        crossing = f"It crosses the upper meridian at {at} UTC."
    moon = f"The Moon is {line.moon_lit:.0%} lit; the target is up without it for about {line.moonless_s / 3600:.1f} h."
    return wrapped(f"{_up(line)}{crossing} {moon}")


def _up(line: Timeline) -> str:
    """Say when the target rises and sets, where it does; rows without it are left out."""
    said, gone = [], "it sets" if line.hidden is None else "it is gone"
    for begin, end in line.spans_up_s:
        first, last = (clock_text(add_seconds(line.night.dusk, moment)) for moment in (begin, end))
        rises, sets = begin > line.seconds[0], end < line.seconds[-1]
        if rises and sets:
            said.append(f"from {first} to {last} UTC")
        elif rises or sets:
            said.append(f"from {first} UTC on" if rises else f"until {last} UTC, then {gone}")
    where = "above 5 deg" if line.hidden is None else "above 5 deg and the rig file's horizon"
    return f"It stands {where} {' and '.join(said)}. " if said else ""
