"""Drift as a picture: the way of the star in the camera, and how it and the rotation grow with time."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.outlook import Drift
from polarcheck.report.pictures.canvas import (
    DIM,
    HEAD_PT,
    INK,
    LINES,
    PALE,
    STRONG,
    STYLES,
    TEXT_PT,
    WIDTH_IN,
    dress,
    halo,
    label_ends,
    new_figure,
    own_style,
    save,
)
from polarcheck.report.text.words import length_text
from polarcheck.sky import Target
from polarcheck.vectors import Array

__all__ = ["draw_drift", "save_drift_picture"]

_LINES_IN = 2.7
_NAMED = (*LINES[:3], INK)  # the darkest line is too dark for letters


@own_style()
def save_drift_picture(drift: Drift, target: Target, path: Path) -> None:
    """Draw a drift and save it; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    save(draw_drift(drift, target), path)


@own_style()
def draw_drift(drift: Drift, target: Target | None = None) -> Any:
    """Return the picture of a drift; without a target it does not say of what."""
    figure = new_figure(WIDTH_IN, 2 * _LINES_IN + 6.6)
    growth, causes, way = figure.subplots(3, 1, height_ratios=[_LINES_IN, _LINES_IN, 4.2])
    for axes in (way, growth, causes):
        dress(axes)
    _draw_growth(growth, drift)
    _draw_causes(causes, drift)
    _draw_way(way, drift)
    length = length_text(float(drift.seconds[-1]))
    name = f" of {target.name}" if target else ""
    title = f"Drift{name} in the camera\nover {length}, unguided"
    figure.suptitle(title, color=INK, fontsize=HEAD_PT)
    return figure


def _minutes(drift: Drift) -> tuple[np.ndarray, str]:
    hours = drift.seconds[-1] > 7200
    return drift.seconds / (3600 if hours else 60), "hours" if hours else "minutes"


def _draw_way(axes: Any, drift: Drift) -> None:
    east, north = drift.east_arcsec, drift.north_arcsec
    axes.plot(east, north, color=INK, linewidth=1.6)
    some = np.unique(np.linspace(0, len(east) - 1, 7).round().astype(int))
    axes.plot(east[some], north[some], linestyle="", marker="o", markersize=4, color=STRONG)
    ahead = np.array(
        [-(east[-1] - east[0]), north[-1] - north[0]]
    )  # on the picture, where east is to the left
    ahead /= max(float(np.hypot(*ahead)), 1e-9)
    for name, place, away in (("start", (east[0], north[0]), -ahead), ("end", (east[-1], north[-1]), ahead)):
        axes.annotate(
            name,
            place,
            tuple(16 * away),
            textcoords="offset points",
            color=PALE,
            ha="center",
            va="center",
            fontsize=TEXT_PT,
            path_effects=halo(),
        )
    half = 0.75 * max(np.ptp(east), np.ptp(north), 0.02)
    middle = (east.max() + east.min()) / 2, (north.max() + north.min()) / 2
    # east is to the left, as the sky is drawn with north up
    axes.set(xlim=(middle[0] + half, middle[0] - half), ylim=(middle[1] - half, middle[1] + half))
    axes.set_box_aspect(1)
    axes.locator_params(nbins=5)
    axes.set(title="The star in the camera", xlabel="← east, arcsec", ylabel="north, arcsec")


def _draw_growth(axes: Any, drift: Drift) -> None:
    series = [
        ("east", drift.east_arcsec),
        ("north", drift.north_arcsec),
        ("rotation", drift.rotation_arcsec),
    ]
    _draw_lines(axes, drift, series)
    axes.set(title="How drift and field rotation grow", ylabel="arcsec")


def _draw_causes(axes: Any, drift: Drift) -> None:
    names = {"rate": "tracking\nrate"}
    series = [
        (names.get(cause, cause), np.hypot(parts[:, 0], parts[:, 1])) for cause, parts in drift.causes.items()
    ]
    if series[-1][1].max() < 1e-6:  # the tracking rate, where it is the sidereal one
        series.pop()
    _draw_lines(axes, drift, series)
    axes.set(title="What the drift comes from", ylabel="arcsec on the sky")


def _draw_lines(axes: Any, drift: Drift, series: Sequence[tuple[str, Array]]) -> None:
    """Draw values over time, each in its own shade and stroke, with its name at its end."""
    time, name = _minutes(drift)
    for (_, values), colour, style in zip(series, LINES, STYLES, strict=False):
        axes.plot(time, values, color=colour, linestyle=style, linewidth=1.8)
    axes.axhline(0, color=DIM, linewidth=0.6)
    axes.set(xlim=(time[0], time[-1]), xlabel=name)
    ends = [(float(values[-1]), said, colour) for (said, values), colour in zip(series, _NAMED, strict=False)]
    label_ends(axes, ends, _LINES_IN - 0.8)
