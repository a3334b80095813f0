"""What a sequence shows beside what was predicted, as a picture: seen above, what is left below."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import DriftCheck
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
    new_figure,
    own_style,
    save,
)
from polarcheck.report.text.rounding import with_sigma
from polarcheck.report.text.words import length_text, off_text

__all__ = ["save_drift_check_picture"]

_PARTS = ("east", "north", "field rotation")
_LONG_S = 7200.0  # from here on the time is shown in hours


@own_style()
def save_drift_check_picture(check: DriftCheck, alignment: Alignment, path: Path) -> None:
    """Draw a sequence beside its prediction and save it; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    figure = new_figure(WIDTH_IN, 9.6)
    panels = figure.subplots(3, 2, sharex=True)
    for part, (seen, left) in enumerate(panels):
        dress(seen)
        dress(left)
        _draw_seen(seen, check, part)
        _draw_left(left, check, part)
        seen.set_ylabel("arcsec")
    for axes in panels[-1]:
        axes.set_xlabel(_time(check)[1])
    handles = panels[0, 0].get_legend_handles_labels()
    figure.legend(
        *handles, loc="outside lower center", ncols=2, frameon=False, labelcolor=INK, fontsize=TEXT_PT
    )
    length = length_text(float(check.seconds[-1]))
    figure.suptitle(
        f"{len(check.names)} frames over {length}, tracked unguided;\npredicted for an axis\n{off_text(alignment)}",
        color=INK,
        fontsize=HEAD_PT,
    )
    save(figure, path)


def _time(check: DriftCheck) -> tuple[Any, str]:
    hours = check.seconds[-1] > _LONG_S
    return check.seconds / (3600 if hours else 60), "hours" if hours else "minutes"


def _predicted(check: DriftCheck) -> Any:
    drift = check.predicted
    return np.stack([drift.east_arcsec, drift.north_arcsec, drift.rotation_arcsec], axis=-1)


def _draw_seen(axes: Any, check: DriftCheck, part: int) -> None:
    time, _ = _time(check)
    predicted = _predicted(check)[:, part]
    sigma = check.predicted.sigma_arcsec
    if sigma is not None:
        wide = 2 * sigma[:, part]
        axes.fill_between(time, predicted - wide, predicted + wide, color=FILL, alpha=0.4, linewidth=0)
    axes.plot(time, predicted, color=PALE, linewidth=1.4, linestyle="--", label="predicted, ± 2 sigma")
    axes.plot(
        time, check.seen_arcsec[:, part], linestyle="", marker="o", markersize=4, color=STRONG, label="seen"
    )
    axes.set_title(f"{_PARTS[part]},\nseen and predicted")


def _draw_left(axes: Any, check: DriftCheck, part: int) -> None:
    time, _ = _time(check)
    left = check.left_arcsec[:, part]
    slope, sigma = float(check.rate_excess_arcsec_per_min[part]), float(check.rate_excess_sigma[part])
    shown, plus = with_sigma(slope, sigma)
    axes.axhline(0, color=DIM, linewidth=0.8)
    axes.plot(time, slope * check.seconds / 60, color=PALE, linewidth=1.2, linestyle=":")
    axes.plot(time, left, marker="o", markersize=3, color=INK, linewidth=0.8)
    axes.set_title(f"seen minus predicted:\n{shown} ± {plus} a minute")
