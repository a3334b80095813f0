"""Longest exposures over the sky as a picture: hour angle across, declination up, shades by time."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import SkyMap
from polarcheck.report.pictures.canvas import (
    DIM,
    GROUND,
    INK,
    PALE,
    TEXT_PT,
    WIDTH_IN,
    dress,
    halo,
    new_figure,
    own_style,
    save,
    shades,
    without_overlap,
)
from polarcheck.report.text.words import length_text, off_text
from polarcheck.vectors import Array

__all__ = ["ROUND_S", "draw_map", "round_levels", "save_map_picture"]

ROUND_S = (
    *(1.0, 2.0, 3.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0),
    *(60.0, 90.0, 120.0, 180.0, 300.0, 600.0, 900.0, 1200.0, 1800.0, 2700.0),
    *(3600.0, 5400.0, 7200.0, 10800.0, 14400.0, 18000.0),
)
"""Lengths of exposure that people set on a camera. [s]"""
_MOST_LEVELS = 6


@own_style()
def save_map_picture(sky: SkyMap, alignment: Alignment, path: Path) -> None:
    """Draw a map and save it; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    save(draw_map(sky, alignment), path)


@own_style()
def draw_map(sky: SkyMap, alignment: Alignment | None = None) -> Any:
    """Return the picture of a map; without an alignment it does not say of which axis."""
    figure = new_figure(WIDTH_IN, 6.0)
    axes = figure.subplots()
    dress(axes, grid=False)
    _label(axes, sky, alignment)
    shown = np.minimum(sky.limit_s, sky.available_s)
    levels = round_levels(shown)
    plane = sky.hour_angle_deg / 15, sky.declination_deg
    fills = shades(len(levels) + 1)
    axes.contourf(*plane, shown, levels=[0.0, *levels, 1e9], colors=fills)
    altitudes = axes.contour(
        *plane, sky.altitude_deg, levels=[30, 60], colors=GROUND, linewidths=0.9, linestyles=":"
    )
    labels = []
    if levels:
        lines = axes.contour(*plane, shown, levels=levels, colors=GROUND, linewidths=0.9)
        labels += _labelled(axes, lines, {level: length_text(level) for level in levels})
    labels += _labelled(axes, altitudes, {30: "30° high", 60: "60° high"})
    _draw_key(axes, levels, fills)
    without_overlap(figure, labels)
    return figure


def round_levels(shown: Array) -> list[float]:
    """Return the round lengths of exposure, at most six, that part a map best into areas of like size."""
    known = shown[np.isfinite(shown)]
    inside = [level for level in ROUND_S if known.size and known.min() < level < known.max()]
    while len(inside) > _MOST_LEVELS:
        shares = np.array([np.mean(known < level) for level in [0.0, *inside, np.inf]])
        inside.pop(int(np.argmin(shares[2:] - shares[:-2])))
    return inside


def _labelled(axes: Any, lines: Any, names: dict[float, str]) -> list[Any]:
    """Write names on contours, with an outline that parts them from every shade."""
    labels = list(axes.clabel(lines, fmt=names, colors="#f7d9c4", fontsize=TEXT_PT))
    for label in labels:
        label.set_path_effects(halo())
    return labels


def _draw_key(axes: Any, levels: list[float], fills: list[Any]) -> None:
    """Say what the shades are, below the map, from short to long."""
    from matplotlib.patches import Patch

    names = [length_text(level) for level in levels]
    said = ["any length"]
    if names:
        between = [f"{a} to {b}" for a, b in pairwise(names)]
        said = [f"below {names[0]}", *between, f"{names[-1]} or more"]
    keys = [Patch(facecolor=fill, edgecolor=DIM, label=name) for fill, name in zip(fills, said, strict=True)]
    axes.figure.legend(
        handles=keys,
        loc="outside lower center",
        ncols=2,
        frameon=False,
        labelcolor=INK,
        fontsize=TEXT_PT,
    )


def _label(axes: Any, sky: SkyMap, alignment: Alignment | None) -> None:
    axis = f",\nwith the axis {off_text(alignment)}" if alignment else ""
    how = "Guided" if sky.guided else "Unguided"
    axes.set(
        title=f"{how}: longest exposure for {sky.tolerance_arcsec:.3g} arcsec of motion{axis}",
        xlabel="hour angle, h   (← east of the meridian, west →)",
        ylabel="declination, deg",
        xlim=(-12, 12),
    )
    axes.axvline(0, color=PALE, linewidth=0.6, linestyle="--")
    axes.xaxis.set_ticks(np.arange(-12, 13, 3))
