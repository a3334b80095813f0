"""The mark on the sensor as a picture: two pixel rulers with the star's place on each, now and after each knob.

Made to be read at arm's length from the knobs, on a telephone too: large figures, dim warm ink. Above the rulers lies
the piece of the frame around the star, so that it is found; nothing is drawn over it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.followup import StarTarget
from polarcheck.report.pictures.canvas import (
    DIM,
    FILL,
    GROUND,
    INK,
    LINES,
    PALE,
    TEXT_PT,
    WIDTH_IN,
    dress,
    new_figure,
    own_style,
    save,
)
from polarcheck.report.text.mark import shift_words
from polarcheck.vectors import Array

__all__ = ["save_mark_picture"]

_HALF_PX, _HALF_SHARE = 40.0, 0.06  # of the piece around the star: at least, and of the sensor's width
_FLAT = 2.4  # width over height of that piece
# fewer than the picture has, so that none is passed over; the brightest pixel of each block stands
_MOST_COLUMNS = 600
_COLOURS = (LINES[1], LINES[1], LINES[0])  # now, after the first knob, after both: the last one counts most
_LEAST_SPAN_PX = 40.0  # of a ruler
_FIGURE_PT = 21.0  # of the places: 18 px on a picture of 400 px
_ROWS = 3

Place = tuple[float, float]


@own_style()
def save_mark_picture(target: StarTarget, pixels: Any, path: Path) -> None:
    """Draw where the star is and where it must go, and save it as .png or .svg.

    Parameters
    ----------
    target : StarTarget
        Which star, and its way.
    pixels : ndarray, shape (height, width) or (planes, height, width)
        The frame.
    path : pathlib.Path
        Its ending says the format.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    figure = new_figure(WIDTH_IN, 8.2)
    star, columns, rows = figure.subplots(3, 1, height_ratios=(2.1, 2.0, 2.0))
    piece = _piece(target)
    dress(star, grid=False)
    _draw_light(star, pixels, piece)
    (left, bottom), (right, top) = piece
    star.set(xlim=(left, right), ylim=(bottom, top), aspect="equal")
    star.set(xticks=[round(target.from_px[0])], yticks=[round(target.from_px[1])])
    star.set_title("the star, where both ticks point", color=INK, fontsize=TEXT_PT, loc="left")
    places = _places(target)
    for axes, part, name, size in ((columns, 0, "x", target.width_px), (rows, 1, "y", target.height_px)):
        _draw_ruler(axes, [(words, None if place is None else place[part]) for place, words in places], size)
        axes.set_title(f"{name}, pixels from 0", color=INK, fontsize=TEXT_PT, loc="left")
    figure.suptitle(_title(target), color=INK, fontsize=TEXT_PT + 1)
    save(figure, path)


def _draw_ruler(axes: Any, values: list[tuple[str, float | None]], size: int) -> None:
    """One row a state, from above: a peg at the star's pixel, its figure beside it; the scale lies below."""
    dress(axes, grid=False)
    known = [value for _, value in values if value is not None]
    middle, span = (min(known) + max(known)) / 2, max(max(known) - min(known), _LEAST_SPAN_PX)
    low, high = middle - 0.62 * span, middle + 0.62 * span
    axes.set(xlim=(low, high), ylim=(-0.6, _ROWS - 0.4))
    axes.set_yticks(range(_ROWS - 1, -1, -1), [words for words, _ in values])
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", length=8, width=1.2)
    axes.locator_params(axis="x", nbins=5, integer=True)
    for side in ("left", "right", "top"):
        axes.spines[side].set_visible(False)
    for end in (-0.5, size - 0.5):  # the sensor's edge, where the ruler reaches it
        if low < end < high:
            axes.axvline(end, color=DIM, linewidth=3)
    for number, (_, value) in enumerate(values):
        height = _ROWS - 1 - number
        axes.axhline(height, color=DIM, linewidth=0.6)
        if value is None:
            axes.text(middle, height, "off the sensor", color=INK, fontsize=TEXT_PT, ha="center", va="bottom")
            continue
        colour = _COLOURS[number]
        axes.plot(
            [value, value], [height - 0.3, height + 0.3], color=colour, linewidth=5, solid_capstyle="butt"
        )
        after = value < middle
        axes.annotate(
            f"{value:.0f}",
            (value, height),
            (9 if after else -9, 0),
            textcoords="offset points",
            color=colour,
            fontsize=_FIGURE_PT,
            fontweight="bold" if number == _ROWS - 1 else "normal",
            ha="left" if after else "right",
            va="center",
            bbox={"facecolor": GROUND, "edgecolor": "none", "pad": 1.0},
        )


def _places(target: StarTarget) -> list[tuple[Place | None, str]]:
    """The star now, after each knob, or where the part of the way ends that stays on the sensor."""
    places: list[tuple[Place | None, str]] = [(target.from_px, "now")]
    ended = False
    for knob, place, part in zip(
        target.knobs, (target.after_first_px, target.to_px), target.part_on_sensor, strict=True
    ):
        if place is None and not ended:
            places.append((target.part_px, f"{part * 100:.0f} % of {knob}"))
            ended = True
        else:
            places.append((place, f"after {knob}"))
    return places


def _title(target: StarTarget) -> str:
    first, last = target.knobs
    lines, before = [], target.from_px
    for words, place, part in zip(
        (f"{first} first", f"then {last}"),
        (target.after_first_px, target.to_px),
        target.part_on_sensor,
        strict=True,
    ):
        if place is None and part == 0:
            lines.append(f"{words}: not on the sensor")
        elif place is None:
            lines.append(f"{words}: off the sensor after {part * 100:.0f} % of the move")
        else:
            lines.append(f"{words}: {shift_words(before, place)}")
            before = place
    return "\n".join(lines)


def _piece(target: StarTarget) -> Array:
    """Lower left and upper right corner of what is shown of the frame, shape (2, 2). [px]"""
    sensor = np.array([target.width_px, target.height_px], dtype=float)
    half = max(_HALF_PX, _HALF_SHARE * target.width_px)
    size = np.minimum([2 * half, 2 * half / _FLAT], sensor)
    corner = np.clip(np.array(target.from_px) - size / 2, -0.5, sensor - 0.5 - size)
    return np.stack([corner, corner + size])


def _draw_light(axes: Any, pixels: Any, piece: Array) -> None:
    """Show the frame's light, stretched so that faint stars show and bright ones do not glare."""
    from matplotlib.colors import LinearSegmentedColormap

    (left, bottom), (right, top) = np.rint(piece + 0.5).astype(int)
    light = np.asarray(pixels, dtype=float)
    light = light if light.ndim == 2 else light.mean(axis=0)
    light = light[bottom:top, left:right]
    sky = float(np.nanmedian(light))
    scatter = max(1.4826 * float(np.nanmedian(np.abs(light - sky))), 1e-6 * max(abs(sky), 1.0))
    light = _reduced(np.nan_to_num(light, nan=sky, posinf=sky, neginf=sky), sky)
    stretched = np.arcsinh((light - sky) / (4 * scatter))
    highest = max(float(np.percentile(stretched, 99.9)), 1.0)
    axes.imshow(
        stretched,
        cmap=LinearSegmentedColormap.from_list("ember", [GROUND, DIM, FILL, PALE]),
        vmin=0.6,
        vmax=highest,
        origin="lower",
        extent=(left - 0.5, right - 0.5, bottom - 0.5, top - 0.5),
        interpolation="nearest",
    )


def _reduced(light: Array, sky: float) -> Array:
    """Keep the brightest pixel of each block, where there are more columns than can be seen."""
    block = -(-light.shape[1] // _MOST_COLUMNS)
    if block == 1:
        return light
    rows, columns = (-(-n // block) for n in light.shape)
    whole = np.full((rows * block, columns * block), sky)
    whole[: light.shape[0], : light.shape[1]] = light
    return np.asarray(whole.reshape(rows, block, columns, block).max(axis=(1, 3)))
