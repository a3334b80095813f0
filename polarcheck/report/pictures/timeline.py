"""A night for one target as a picture: longest exposure and altitude, the meridian, and when the Moon is up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.outlook import LONGEST_S, Timeline
from polarcheck.report.pictures.canvas import (
    DIM,
    FILL,
    HEAD_PT,
    INK,
    PALE,
    STRONG,
    TEXT_PT,
    WIDTH_IN,
    dress,
    halo,
    new_figure,
    own_style,
    save,
)
from polarcheck.report.text.words import length_text
from polarcheck.sky import Target
from polarcheck.times import add_seconds, iso_from_utc
from polarcheck.vectors import Array

__all__ = ["draw_timeline", "save_timeline_picture"]


@own_style()
def save_timeline_picture(line: Timeline, target: Target, path: Path) -> None:
    """Draw a night and save it; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    save(draw_timeline(line, target), path)


@own_style()
def draw_timeline(line: Timeline, target: Target | None = None) -> Any:
    """Return the picture of a night; without a target it does not say of what."""
    figure = new_figure(WIDTH_IN, 6.6)
    limit, altitude = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
    for axes in (limit, altitude):
        dress(axes)
        _shade_moon(axes, line)
        if line.meridian_s is not None:
            axes.axvline(line.meridian_s / 3600, color=PALE, linewidth=0.8, linestyle="--")
    _draw_limit(limit, line)
    _draw_altitude(altitude, line)
    how = "guided" if line.guided else "unguided"
    name = target.name if target else "The target"
    figure.suptitle(f"{name}, {how}, from dusk to dawn", color=INK, fontsize=HEAD_PT)
    return figure


def _shade_moon(axes: Any, line: Timeline) -> None:
    up = line.moon_altitude_deg >= 0
    if up.any():
        axes.fill_between(
            line.seconds / 3600,
            0,
            1,
            where=up,
            color=FILL,
            alpha=0.25,
            linewidth=0,
            transform=axes.get_xaxis_transform(),
        )


def _draw_limit(axes: Any, line: Timeline) -> None:
    shown = np.minimum(line.limit_s, LONGEST_S)
    unit, name = (3600, "hours") if np.nanmax(shown) > 7200 else (60, "minutes")
    axes.plot(line.seconds / 3600, shown / unit, color=STRONG, linewidth=2)
    axes.set(title=f"Longest exposure for {line.tolerance_arcsec:.3g} arcsec of motion", ylabel=name)
    axes.set_ylim(0, 1.2 * float(np.nanmax(shown)) / unit)
    best = int(np.nanargmax(shown))
    _name(axes, length_text(float(shown[best])), line, float(line.seconds[best]), float(shown[best]) / unit)


def _name(axes: Any, said: str, line: Timeline, seconds: float, height: float) -> None:
    """Write a name above a place, on that side of it where the picture is wider."""
    is_late = seconds > line.seconds[-1] / 2
    axes.annotate(
        said,
        (seconds / 3600, height),
        (-4 if is_late else 4, 5),
        textcoords="offset points",
        color=PALE,
        ha="right" if is_late else "left",
        fontsize=TEXT_PT,
        path_effects=halo(),
    )


def _draw_altitude(axes: Any, line: Timeline) -> None:
    hours = line.seconds / 3600
    hidden = np.zeros(len(hours), dtype=bool) if line.hidden is None else line.hidden
    if hidden.any():
        behind = np.where(hidden, line.altitude_deg, np.nan)
        axes.plot(hours, behind, color=DIM, linewidth=1.6, label="behind the horizon")
    seen = np.where(hidden, np.nan, line.altitude_deg)
    axes.plot(hours, seen, color=INK, linewidth=1.6, label="target")
    moon = np.where(line.moon_altitude_deg >= 0, line.moon_altitude_deg, np.nan)
    if np.isfinite(moon).any():
        axes.plot(
            hours, moon, color=PALE, linewidth=1.6, linestyle=":", label=f"Moon, {line.moon_lit:.0%} lit"
        )
    if line.meridian_s is not None:
        _name(axes, "meridian", line, line.meridian_s, 2.0)
    axes.axhline(0, color=DIM, linewidth=0.6)
    axes.set(
        ylim=(0, 118),  # above the zenith the names of the lines
        yticks=(0, 30, 60, 90),
        ylabel="altitude, deg",
        xlabel="UTC (shaded: the Moon is up)",
        xlim=(hours[0], hours[-1]),
    )
    places, names = _clock(line)
    axes.set_xticks(places, names)
    axes.legend(frameon=False, labelcolor=INK, fontsize=TEXT_PT, loc="upper right", ncols=2)


def _clock(line: Timeline) -> tuple[Array, list[str]]:
    """Full hours of the night, as hours since dusk, and their names."""
    begin = iso_from_utc(line.night.dusk)
    first = 3600 - (int(begin[14:16]) * 60 + float(begin[17:22]))
    length = float(line.seconds[-1])
    step = 3600 * max(1, round(length / 3600 / 7))
    places = np.arange(first, length, step)
    names = [iso_from_utc(add_seconds(line.night.dusk, float(place) + 1))[11:13] + "h" for place in places]
    return places / 3600, names
