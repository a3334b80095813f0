"""A measurement as a picture: the axis beside the pole, its error ellipse, and the residuals.

Seen from behind the mount, facing the pole: east is to the right in the north and to the left in the south.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.alignment import side_words
from polarcheck.axis import confidence_region
from polarcheck.constants import ARCMIN
from polarcheck.measurement import Measurement
from polarcheck.report.pictures.canvas import (
    DIM,
    FILL,
    HEAD_PT,
    INK,
    STRONG,
    WIDTH_IN,
    dress,
    new_figure,
    own_style,
    save,
)
from polarcheck.report.text.rounding import with_sigma
from polarcheck.vectors import Array

__all__ = ["draw_measurement", "save_measurement_picture"]

_FLATTEST_ARCSEC = 0.1  # residuals far below any solution's error are not blown up


@own_style()
def save_measurement_picture(result: Measurement, path: Path) -> None:
    """Draw a measurement and save it; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    save(draw_measurement(result), path)


@own_style()
def draw_measurement(result: Measurement) -> Any:
    """Return the picture of a measurement."""
    figure = new_figure(WIDTH_IN, 9.4)
    parts = figure.subplot_mosaic([["whole", "whole"], ["near", "residuals"]], height_ratios=[1.7, 1])
    for axes in parts.values():
        dress(axes)
        axes.set_box_aspect(1)
    _draw_whole(parts["whole"], result)
    _draw_near(parts["near"], result)
    _draw_residuals(parts["residuals"], result)
    figure.suptitle(_title(result), color=INK, fontsize=HEAD_PT)
    return figure


def _title(result: Measurement) -> str:
    error = result.error
    side, height = side_words(error.azimuth_arcmin, error.altitude_arcmin, result.site.is_north)
    azimuth, plus_azimuth = with_sigma(abs(error.azimuth_arcmin), error.azimuth_sigma_arcmin)
    altitude, plus_altitude = with_sigma(abs(error.altitude_arcmin), error.altitude_sigma_arcmin)
    return (
        f"The axis points {azimuth} ± {plus_azimuth} arcmin too far {side}\n"
        f"(about the vertical), {altitude} ± {plus_altitude} arcmin too {height}"
    )


def _draw_whole(axes: Any, result: Measurement) -> None:
    x, y = _place(result)
    half = 1.25 * max(abs(x), abs(y), 4 * result.alignment.largest_sigma_arcmin, 0.05)
    axes.plot([0, x, x], [0, 0, y], color=DIM, linewidth=1, linestyle="--")
    axes.plot(0, 0, marker="s", color=INK, markersize=6)
    axes.plot(x, y, marker="o", color=STRONG, markersize=7)
    above = y >= 0
    for name, place, away, colour in (
        (f"{result.pole.kind} pole", (0.0, 0.0), -1 if above else 1, INK),
        ("axis", (x, y), 1 if above else -1, STRONG),
    ):
        axes.annotate(
            name,
            place,
            (0, 9 * away),
            textcoords="offset points",
            color=colour,
            ha="center",
            va="bottom" if away > 0 else "top",
            fontsize=HEAD_PT,
        )
    axes.set(xlim=(-half, half), ylim=(-half, half), title="The axis, seen from behind the mount")
    axes.set_xlabel(_sideways(result))
    axes.set_ylabel("altitude, arcmin: up is too high")


def _draw_near(axes: Any, result: Measurement) -> None:
    x, y = _place(result)
    for probability, style in ((0.95, "-"), (0.68, "--")):
        ring = _region(result, probability)
        axes.plot(x + ring[:, 0], y + ring[:, 1], color=INK, linewidth=1.4, linestyle=style)
    axes.plot(x, y, marker="o", color=STRONG, markersize=5)
    reach = 1.4 * np.abs(_region(result, 0.95)).max()
    if np.hypot(x, y) < reach:
        axes.plot(0, 0, marker="s", color=INK, markersize=6)
    axes.set(
        xlim=(x - reach, x + reach),
        ylim=(y - reach, y + reach),
        title="Where it lies, by 95 %\n(dashed: 68 %)",
    )
    axes.set_xlabel(_sideways(result))
    axes.set_ylabel("altitude, arcmin")
    axes.ticklabel_format(useOffset=False)
    axes.locator_params(nbins=4)
    axes.locator_params(axis="x", nbins=2)


def _draw_residuals(axes: Any, result: Measurement) -> None:
    used = result.used
    heights = [entry.residual_arcsec or 0.0 for entry in used]
    places = np.arange(1, len(used) + 1)
    axes.vlines(places, 0, heights, color=FILL, linewidth=max(1.0, min(6.0, 120 / len(used))))
    axes.axhline(result.residual_rms_arcsec, color=STRONG, linewidth=1, linestyle="--")
    axes.set(
        title="Residuals (dashed:\nroot mean square)",
        xlim=(0.3, len(used) + 0.7),
        ylim=(0, 1.25 * max([*heights, _FLATTEST_ARCSEC])),
    )
    if result.fit.degrees_of_freedom == 0:
        said = "without redundancy\nnothing is left over"
        axes.text(0.5, 0.5, said, transform=axes.transAxes, color=INK, ha="center")
    axes.set_xlabel("frame, in order of time")
    axes.set_ylabel("arcsec")
    axes.xaxis.get_major_locator().set_params(integer=True)


def _place(result: Measurement) -> tuple[float, float]:
    """Right and up from the pole: facing either pole, growing azimuth goes to the right. [arcmin]"""
    return result.error.azimuth_on_sky_arcmin, result.error.altitude_arcmin


def _sideways(result: Measurement) -> str:
    left, right = ("west", "east") if result.site.is_north else ("east", "west")
    return f"azimuth on the sky, arcmin\n← {left}        {right} →"


def _region(result: Measurement, probability: float) -> Array:
    """Points of the region that holds the axis with a probability, shape (k, 2). [arcmin]"""
    return confidence_region(result.fit.covariance, result.fit.degrees_of_freedom, probability) / ARCMIN
