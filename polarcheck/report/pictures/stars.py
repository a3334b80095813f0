"""Stars of frames as a picture: width and elongation of each frame, and both over the sensor with their direction."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

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
from polarcheck.stars import FrameStars, StarSummary, median_map

__all__ = ["save_stars_picture"]

_MINOR = 0.2  # of a part's height: the shorter axis of the outline


@own_style()
def save_stars_picture(frames: Sequence[FrameStars], path: Path) -> None:
    """Draw width and elongation of each frame, and both over the sensor; the ending gives the format.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    measured = [frame for frame in frames if frame.summary and frame.summary.fwhm_px is not None]
    summaries = [frame.summary for frame in measured if frame.summary]
    figure = new_figure(WIDTH_IN, 8.6)
    parts = figure.subplot_mosaic([["width", "long"], ["sensor", "sensor"]], height_ratios=[1, 1.4])
    width, long, sensor = parts["width"], parts["long"], parts["sensor"]
    for axes in (width, long):
        dress(axes)
    dress(sensor, grid=False)
    moved = np.array([s.has_moved for s in summaries], dtype=bool)
    fwhm = np.array([s.fwhm_px or np.nan for s in summaries])
    elongation = np.array([s.elongation or np.nan for s in summaries])
    _draw_series(width, fwhm, moved, "FWHM, px", "Width of the stars")
    _draw_series(long, elongation, moved, "major over minor axis", "Elongation")
    width.set_ylim(bottom=0.0)
    long.set_ylim(bottom=0.99)
    if moved.any():
        long.legend(loc="upper right", frameon=False, labelcolor=INK, fontsize=TEXT_PT)
    _draw_sensor(sensor, measured, summaries)
    save(figure, path)


def _draw_series(axes: Any, values: Any, moved: Any, label: str, title: str) -> None:
    places = np.arange(1, len(values) + 1)
    axes.plot(places, values, color=STRONG, marker="o", markersize=5, linewidth=1.2)
    said = "taken while the mount moved"
    axes.plot(
        places[moved], values[moved], "s", markersize=12, markerfacecolor="none", color=PALE, label=said
    )
    axes.set(xlabel="frame, in order of name", ylabel=label, title=title)
    axes.xaxis.get_major_locator().set_params(integer=True, min_n_ticks=1)
    if len(places):
        axes.set_xlim(0.5, len(places) + 0.5)
        axes.set_ylim(top=1.25 * np.nanmax(values, initial=1.0))


def _draw_sensor(axes: Any, frames: Sequence[FrameStars], summaries: Sequence[StarSummary]) -> None:
    axes.set(title="FWHM and elongation over the sensor", xticks=[], yticks=[])
    if not frames or not frames[0].width_px or not frames[0].height_px:
        axes.text(0.5, 0.5, "too few stars", transform=axes.transAxes, color=INK, ha="center")
        return
    fwhm = median_map([s.map_fwhm_px for s in summaries])
    elongation = median_map([s.map_elongation for s in summaries])
    ellipticity = median_map([s.map_ellipticity for s in summaries])
    rows, columns = fwhm.shape
    tall = frames[0].height_px / frames[0].width_px * columns / rows
    axes.set(xlim=(0, columns), ylim=(0, rows))
    axes.set_aspect(tall)
    for i in range(rows):
        for j in range(columns):
            if np.isfinite(fwhm[i, j]):
                said = f"{fwhm[i, j]:.2f} px\n{elongation[i, j]:.2f}"
                axes.text(j + 0.5, i + 0.1, said, color=INK, ha="center", fontsize=TEXT_PT)
                _draw_outline(axes, j + 0.5, i + 0.7, float(elongation[i, j]), ellipticity[i, j], tall)
    for i in range(1, rows):
        axes.axhline(i, color=DIM, linewidth=0.5)
    for j in range(1, columns):
        axes.axvline(j, color=DIM, linewidth=0.5)
    axes.set_xlabel("x →   (first row of pixels at the bottom)")


def _draw_outline(axes: Any, x: float, y: float, elongation: float, ellipticity: Any, tall: float) -> None:
    """Draw an ellipse with a star's elongation and direction; none is drawn longer than its part of the sensor."""
    turn = np.arctan2(ellipticity[1], ellipticity[0]) / 2
    around = np.linspace(0, 2 * np.pi, 60)
    major = _MINOR * elongation
    scale = min(1.0, 0.5 / major)
    along, across = scale * major / 2 * np.cos(around), scale * _MINOR / 2 * np.sin(around)
    right, up = np.cos(turn) * along - np.sin(turn) * across, np.sin(turn) * along + np.cos(turn) * across
    axes.plot(x + right * tall, y + up, color=PALE, linewidth=1.4)
