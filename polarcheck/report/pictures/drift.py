"""Drift as a picture: the way of the star in the camera, and how it and the rotation grow with time."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.outlook import Drift
from polarcheck.report.pictures.canvas import DIM, FILL, INK, PALE, STRONG, dress, new_figure, save
from polarcheck.report.text.words import length_text
from polarcheck.sky import Target

__all__ = ["save_drift_picture"]


def save_drift_picture(drift: Drift, target: Target, path: Path) -> None:
    """Draw a drift and save it; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    figure = new_figure(12.4, 4.6)
    way, growth, causes = figure.subplots(1, 3)
    for axes in (way, growth, causes):
        dress(axes)
    _draw_way(way, drift)
    _draw_growth(growth, drift)
    _draw_causes(causes, drift)
    length = length_text(float(drift.seconds[-1]))
    figure.suptitle(f"Drift of {target.name} in the camera over {length}, unguided", color=INK, fontsize=12)
    save(figure, path)


def _minutes(drift: Drift) -> tuple[np.ndarray, str]:
    hours = drift.seconds[-1] > 7200
    return drift.seconds / (3600 if hours else 60), "hours" if hours else "minutes"


def _draw_way(axes: Any, drift: Drift) -> None:
    east, north = drift.east_arcsec, drift.north_arcsec
    axes.plot(east, north, color=INK, linewidth=1.6)
    some = np.unique(np.linspace(0, len(east) - 1, 7).round().astype(int))
    axes.plot(east[some], north[some], linestyle="", marker="o", markersize=4, color=STRONG)
    axes.annotate("start", (0, 0), (6, 6), textcoords="offset points", color=PALE, fontsize=9)
    axes.annotate("end", (east[-1], north[-1]), (6, 6), textcoords="offset points", color=PALE, fontsize=9)
    half = 0.65 * max(np.ptp(east), np.ptp(north), 0.02)
    middle = (east.max() + east.min()) / 2, (north.max() + north.min()) / 2
    # east is to the left, as the sky is drawn with north up
    axes.set(xlim=(middle[0] + half, middle[0] - half), ylim=(middle[1] - half, middle[1] + half))
    axes.set_box_aspect(1)
    axes.set(title="The star in the camera", xlabel="← east, arcsec", ylabel="north, arcsec")


def _draw_growth(axes: Any, drift: Drift) -> None:
    time, name = _minutes(drift)
    for values, label, colour, style in (
        (drift.east_arcsec, "east", INK, "-"),
        (drift.north_arcsec, "north", STRONG, "-"),
        (drift.rotation_arcsec, "field rotation", PALE, "--"),
    ):
        axes.plot(time, values, color=colour, linestyle=style, linewidth=1.5, label=label)
    axes.set(title="How it grows", xlabel=name, ylabel="arcsec")
    axes.legend(frameon=False, labelcolor=INK, fontsize=9)


def _draw_causes(axes: Any, drift: Drift) -> None:
    time, name = _minutes(drift)
    styles = {
        "azimuth": (STRONG, "-"),
        "altitude": (INK, "-"),
        "refraction": (PALE, "--"),
        "rate": (FILL, ":"),
    }
    for cause, (colour, style) in styles.items():
        parts = drift.causes[cause]  # type: ignore[index]
        size = np.hypot(parts[:, 0], parts[:, 1])
        if cause == "rate" and size.max() < 1e-6:
            continue
        label = {"rate": "tracking rate"}.get(cause, cause)
        axes.plot(time, size, color=colour, linestyle=style, linewidth=1.5, label=label)
    axes.axhline(0, color=DIM, linewidth=0.6)
    axes.set(title="What it comes from", xlabel=name, ylabel="arcsec on the sky")
    axes.legend(frameon=False, labelcolor=INK, fontsize=9)
