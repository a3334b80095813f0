"""Longest exposures over the sky as a picture: hour angle across, declination up, shades by time."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import SkyMap
from polarcheck.report.pictures.canvas import DIM, FILL, GROUND, INK, PALE, STRONG, dress, new_figure, save
from polarcheck.report.text.words import length_text, pole_words

__all__ = ["save_map_picture"]

_SHADES = 7


def save_map_picture(sky: SkyMap, alignment: Alignment, path: Path) -> None:
    """Draw a map and save it; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    figure = new_figure(9.6, 6.0)
    axes = figure.subplots()
    dress(axes, grid=False)
    shown = np.minimum(sky.limit_s, sky.available_s)
    bounds = _bounds(shown)
    hours = sky.hour_angle_deg / 15
    filled = axes.contourf(
        hours, sky.declination_deg, shown, levels=bounds, colors=_shades(len(bounds) - 1), extend="neither"
    )
    lines = axes.contour(
        hours, sky.declination_deg, shown, levels=bounds[1:-1], colors=GROUND, linewidths=0.8
    )
    axes.clabel(lines, fmt={level: length_text(level) for level in bounds[1:-1]}, colors=GROUND, fontsize=9)
    altitudes = axes.contour(
        hours,
        sky.declination_deg,
        sky.altitude_deg,
        levels=[30, 60],
        colors=PALE,
        linewidths=0.7,
        linestyles=":",
    )
    axes.clabel(altitudes, fmt="altitude %d°", colors=PALE, fontsize=8)
    _label(axes, sky, alignment)
    bar = figure.colorbar(filled, ax=axes, ticks=bounds)
    bar.ax.set_yticklabels([length_text(level) for level in bounds])
    bar.ax.tick_params(colors=INK, labelsize=9)
    bar.outline.set_edgecolor(DIM)
    save(figure, path)


def _bounds(shown: Any) -> Any:
    """Times that part the map into shades of like size, rounded to two digits of their unit."""
    known = shown[np.isfinite(shown)]
    parts = np.quantile(known, np.arange(1, _SHADES) / _SHADES) if known.size else np.array([60.0])
    steps = sorted({_rounded(float(part)) for part in parts})
    least, most = (known.min(), known.max()) if known.size else (30.0, 120.0)
    inner = [step for step in steps if 1.01 * least < step < 0.99 * most]
    return np.array([min(least, *inner, most) * 0.999, *inner, most * 1.001])


def _rounded(seconds: float) -> float:
    unit = 1.0 if seconds < 100 else 60.0 if seconds < 6000 else 3600.0
    return float(f"{seconds / unit:.2g}") * unit


def _shades(count: int) -> list[Any]:
    from matplotlib.colors import LinearSegmentedColormap

    shades = LinearSegmentedColormap.from_list("embers", ["#3a1c14", FILL, INK, STRONG, PALE])
    return [shades(i / max(count - 1, 1)) for i in range(count)]


def _label(axes: Any, sky: SkyMap, alignment: Alignment) -> None:
    how = "Guided" if sky.guided else "Unguided"
    axes.set(
        title=f"{how}: longest exposure for {sky.tolerance_arcsec:.3g} arcsec of motion, axis "
        f"{alignment.error.total_arcmin:.2f} arcmin from {pole_words(alignment.pole_kind)}",
        xlabel="hour angle, h        ← east of the meridian        west →",
        ylabel="declination, deg",
        xlim=(-12, 12),
    )
    axes.axvline(0, color=PALE, linewidth=0.6, linestyle="--")
    axes.xaxis.set_ticks(np.arange(-12, 13, 3))
