"""Stars over the sensor as a picture: for each part, the outline of a star as it is, enlarged."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.frame_stars import FrameStars, median_map
from polarcheck.report.canvas import DIM, INK, PALE, STRONG, dress, new_figure, save

__all__ = ["save_stars_picture"]


def save_stars_picture(frames: Sequence[FrameStars], path: Path) -> None:
    """Draw width and elongation of each frame, and both over the sensor; the ending gives the format.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    measured = [frame for frame in frames if frame.summary and frame.summary.fwhm_px is not None]
    figure = new_figure(12.4, 4.4)
    width, long, sensor = figure.subplots(1, 3, width_ratios=[1, 1, 1.2])
    for axes in (width, long):
        dress(axes)
    dress(sensor, grid=False)
    places = np.arange(1, len(measured) + 1)
    summaries = [frame.summary for frame in measured if frame.summary]
    _draw_series(width, places, [s.fwhm_px or np.nan for s in summaries], "FWHM, px", "Width of the stars")
    _draw_series(
        long, places, [s.elongation or np.nan for s in summaries], "major over minor axis", "Elongation"
    )
    long.set_ylim(bottom=1.0)
    width.set_ylim(bottom=0.0)
    _draw_sensor(sensor, measured)
    save(figure, path)


def _draw_series(axes: Any, places: Any, values: Any, label: str, title: str) -> None:
    axes.plot(places, values, color=STRONG, marker="o", markersize=5, linewidth=1.2)
    axes.set(xlabel="frame, in order of name", ylabel=label, title=title)
    axes.xaxis.get_major_locator().set_params(integer=True)
    if len(places):
        axes.set_xlim(0.5, len(places) + 0.5)
        top = np.nanmax(values) if np.isfinite(values).any() else 1.0
        axes.set_ylim(top=1.25 * top)


def _draw_sensor(axes: Any, frames: Sequence[FrameStars]) -> None:
    axes.set(title="FWHM and elongation over the sensor", xticks=[], yticks=[])
    if not frames or not frames[0].width_px or not frames[0].height_px:
        axes.text(0.5, 0.5, "too few stars", transform=axes.transAxes, color=INK, ha="center")
        return
    maps = [frame.summary for frame in frames if frame.summary]
    fwhm = median_map([m.map_fwhm_px for m in maps])
    elongation = median_map([m.map_elongation for m in maps])
    rows, columns = fwhm.shape
    axes.set(xlim=(0, columns), ylim=(0, rows))
    axes.set_aspect(frames[0].height_px / frames[0].width_px * columns / rows)
    for i in range(rows):
        for j in range(columns):
            if j:
                axes.axvline(j, color=DIM, linewidth=0.5)
            if np.isfinite(fwhm[i, j]):
                axes.text(j + 0.5, i + 0.6, f"{fwhm[i, j]:.2f} px", color=PALE, ha="center", fontsize=11)
                axes.text(j + 0.5, i + 0.3, f"{elongation[i, j]:.2f}", color=INK, ha="center", fontsize=10)
        if i:
            axes.axhline(i, color=DIM, linewidth=0.5)
    axes.set_xlabel("x →   (first row of pixels at the bottom)")
