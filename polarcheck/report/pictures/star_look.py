"""What stars will look like: for a few lengths of exposure, a star at the centre and in the corners, much enlarged."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.outlook import StarLook
from polarcheck.report.pictures.canvas import DIM, GROUND, INK, PALE, STRONG, new_figure, own_style, save
from polarcheck.report.text.words import length_text
from polarcheck.sky import Target

__all__ = ["save_look_picture"]

_WIDTH_IN, _PT = 7.4, 12.5


@own_style()
def save_look_picture(
    looks: Sequence[Sequence[StarLook]], target: Target, fwhm_px: float, guided: bool, path: Path
) -> None:
    """Draw stars, an exposure a row, and save the picture; the format follows the file's ending.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    from matplotlib.colors import LinearSegmentedColormap

    shades = LinearSegmentedColormap.from_list("ember", [GROUND, "#5a2a1c", STRONG, PALE, "#fff2e6"])
    farthest = max(look.trail_px for row in looks for look in row)
    half = int(np.ceil(1.6 * fwhm_px + 0.55 * farthest + 1))
    figure = new_figure(_WIDTH_IN, 1.2 + 2.0 * len(looks))
    grid = figure.subplots(len(looks), len(looks[0]), squeeze=False)
    for row, line in zip(grid, looks, strict=True):
        for axes, look in zip(row, line, strict=True):
            _draw(axes, look, fwhm_px, half, shades)
        row[0].set_ylabel(length_text(line[0].seconds), color=PALE, fontsize=_PT)
    for axes, look in zip(grid[0], looks[0], strict=True):
        axes.set_title(look.place.replace(" at ", "\nat "), color=INK, fontsize=_PT)
    how = "guided" if guided else "unguided"
    figure.suptitle(
        f"A star of {target.name}'s field, {how}: how far it moves,\nand major over minor axis. Each square is "
        f"{2 * half} px wide,\nnorth up, east left",
        color=INK,
        fontsize=_PT,
    )
    save(figure, path)


def _draw(axes: Any, look: StarLook, fwhm_px: float, half: int, shades: Any) -> None:
    image = look.picture(fwhm_px, half)
    axes.imshow(np.sqrt(image), cmap=shades, extent=(-half, half, -half, half), interpolation="nearest")
    axes.set(xticks=[], yticks=[])
    for spine in axes.spines.values():
        spine.set_color(DIM)
    axes.set_facecolor(GROUND)
    said = f"{look.trail_px:.1f} px\n{look.elongation:.2f} long"
    axes.set_xlabel(said, color=INK, fontsize=_PT)
