"""The sky around the pole as seen from behind the mount: stars over altitude and azimuth, on straight axes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.planning import PoleField, RoughSetup
from polarcheck.report.pictures.canvas import (
    DIM,
    INK,
    PALE,
    STRONG,
    TEXT_PT,
    WIDTH_IN,
    dress,
    new_figure,
    own_style,
    save,
)
from polarcheck.report.text.words import utc_text
from polarcheck.vectors import Array

__all__ = ["save_pole_picture"]

_FAINTEST = 9.5


@own_style()
def save_pole_picture(field: PoleField, setup: RoughSetup, width_deg: float, path: Path) -> None:
    """Draw the stars around the pole and save; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    figure = new_figure(WIDTH_IN, 6.3)
    axes = figure.subplots()
    dress(axes)
    across = _across(field)
    shrink = max(float(np.cos(np.radians(field.pole.altitude_deg))), 0.02)
    half = width_deg / 2
    _draw_stars(axes, field, across, half / shrink)
    axes.plot([0], [field.pole.altitude_deg], marker="s", markersize=5, color=STRONG, linestyle="none")
    axes.annotate(
        "refracted pole",
        (0, field.pole.altitude_deg),
        (7, -12),
        textcoords="offset points",
        color=STRONG,
        fontsize=TEXT_PT,
    )
    _label(axes, field, setup, half, shrink)
    save(figure, path)


def _across(field: PoleField) -> Array:
    """Azimuth from the pole's. [deg]"""
    return np.asarray((field.azimuth_deg - field.pole.azimuth_deg + 180) % 360 - 180)


def _draw_stars(axes: Any, field: PoleField, across: Array, reach_deg: float) -> None:
    shown = (field.magnitudes < _FAINTEST) & (np.abs(across) < reach_deg)
    size = 2.0 + 3.2 * np.maximum(_FAINTEST - field.magnitudes[shown], 0) ** 1.6
    axes.scatter(across[shown], field.altitude_deg[shown], s=size, color=INK, linewidths=0)
    for i in np.flatnonzero(shown):
        if field.names[i]:
            axes.annotate(
                field.names[i],
                (across[i], field.altitude_deg[i]),
                (7, 5),
                textcoords="offset points",
                color=PALE,
                fontsize=TEXT_PT,
            )


def _label(axes: Any, field: PoleField, setup: RoughSetup, half: float, shrink: float) -> None:
    pole, north = field.pole, setup.sky.is_north
    left, right = ("west", "east") if north else ("east", "west")
    axes.set(
        title=f"Around the {'north' if north else 'south'} pole, as seen from behind the mount,\n{utc_text(setup.utc)}",
        xlabel=f"azimuth, deg   (← {left}, {right} →)",
        ylabel="altitude, deg",
        xlim=(-half / shrink, half / shrink),
        ylim=(pole.altitude_deg - half, pole.altitude_deg + half),
        aspect=1 / shrink,
    )
    ticks = axes.get_xticks()
    axes.set_xticks(ticks, [f"{(pole.azimuth_deg + tick) % 360:g}" for tick in ticks])
    axes.set_xlim(-half / shrink, half / shrink)
    if pole.altitude_deg - half < 0:
        axes.axhspan(pole.altitude_deg - half, 0, color=DIM, alpha=0.4, linewidth=0)
