"""The mark on the sensor as a picture: the strip of the frame that the star crosses, between two pixel rulers.

Made to be read at arm's length from the knobs: large figures, dim warm ink. Each place of the star has a line
down to the lower ruler and one across to the left ruler, with its pixel there in large figures.
"""

from __future__ import annotations

from collections.abc import Sequence
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
    dress,
    halo,
    new_figure,
    own_style,
    save,
)
from polarcheck.report.text.mark import shift_words
from polarcheck.vectors import Array

__all__ = ["save_mark_picture"]

_WIDTH_IN = 10.4
_LEAST_PX = np.array([48.0, 24.0])  # of the strip
_ROUND_PX, _ROUND_SHARE = 14.0, 0.12  # shown around the star's way, at least, and of its extent
_FLATTEST, _STEEPEST = 3.0, 1.0  # width over height of the strip
_MOST_COLUMNS = (
    600  # fewer than the picture has, so that none is passed over; the brightest pixel of each block stands
)
_COLOURS = LINES[:3]  # now, after the first knob, after both
_SIGNS = (
    "o",
    "D",
    "s",
)  # so that a star of few pixels is found, and the places are told apart without colour
_TICK_PT = 17.0
_CLOSE_PT = 12.0  # the star itself stays free of lines
_STRIP_PT = 550.0  # width of the strip, about
_SIDES = ((1.0, 1.0), (-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0))  # of a place, for its name

_PATCH = {"facecolor": GROUND, "edgecolor": "none", "pad": 1.0}  # keeps figures clear of lines

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
    strip = _strip(target)
    width, height = strip[1] - strip[0]
    figure = new_figure(_WIDTH_IN, 2.4 + 8.2 * height / width)
    axes = figure.subplots()
    dress(axes, grid=False)
    _draw_light(axes, pixels, strip)
    (left, bottom), (right, top) = strip
    axes.set(xlim=(left, right), ylim=(bottom, top), aspect="equal")
    axes.tick_params(labelsize=_TICK_PT, colors=INK, length=6)
    axes.locator_params(nbins=7)
    axes.plot(*_shown_way(target).T, color=INK, linewidth=1.2, linestyle=(0, (1, 4)))
    places = _places(target)
    for number, (place, _) in enumerate(places):
        if place is not None:
            _draw_place(axes, place, number)
    _draw_names(axes, places, strip)
    for letter, corner, away in (("x", (1, 0), (6, 4)), ("y", (0, 1), (-30, 12))):
        axes.annotate(letter, corner, away, "axes fraction", "offset points", color=INK, fontsize=_TICK_PT)
    axes.set_title(_title(target), color=INK, fontsize=18, loc="left", pad=14)
    save(figure, path)


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


def _shown_way(target: StarTarget) -> Array:
    """Pixels of the way that lie on the sensor, shape (n, 2)."""
    steps = int(np.ceil(sum(target.part_on_sensor) / 2 * (len(target.way_px) - 1)))
    return np.vstack([target.way_px[:steps], target.part_px])


def _strip(target: StarTarget) -> Array:
    """Lower left and upper right corner of the part of the frame that is shown, shape (2, 2). [px]"""
    places = [place for place, _ in _places(target) if place is not None]
    shown = np.vstack([_shown_way(target), places])
    extent = np.ptp(shown, axis=0)
    size = np.maximum(extent + 2 * max(_ROUND_PX, _ROUND_SHARE * extent.max()), _LEAST_PX)
    size = np.maximum(size, [size[1] * _STEEPEST, size[0] / _FLATTEST])
    sensor = np.array([target.width_px, target.height_px], dtype=float)
    size = np.minimum(size, sensor)
    corner = (shown.min(axis=0) + shown.max(axis=0) - size) / 2
    corner = np.clip(corner, -0.5, sensor - 0.5 - size)
    return np.stack([corner, corner + size])


def _draw_light(axes: Any, pixels: Any, strip: Array) -> None:
    """Show the frame's light, stretched so that faint stars show and bright ones do not glare."""
    from matplotlib.colors import LinearSegmentedColormap

    (left, bottom), (right, top) = np.rint(strip + 0.5).astype(int)
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


def _draw_place(axes: Any, place: Place, number: int) -> None:
    """Rule a place off against both rulers; its figures have a row and a column of their own there."""
    x, y = place
    sign = {"markersize": 2 * _CLOSE_PT - 4, "markerfacecolor": "none", "markeredgewidth": 1.6}
    axes.plot(x, y, _SIGNS[number], color=_COLOURS[number], path_effects=halo(4.0), clip_on=False, **sign)
    line = {"arrowstyle": "-", "color": _COLOURS[number], "linewidth": 1.6}
    line |= {"shrinkA": 2.0, "shrinkB": _CLOSE_PT}
    below, beside = -34.0 - 26.0 * number, -62.0 - 62.0 * number  # points from the strip's lower left corner
    rulers: tuple[tuple[float, tuple[float, float], tuple[str, str], str, str], ...] = (
        (x, (x, below), ("data", "axes points"), "center", "top"),
        (y, (beside, y), ("axes points", "data"), "right", "center"),
    )
    for value, where, units, across, along in rulers:
        axes.annotate(
            "", place, where, xycoords="data", textcoords=units, arrowprops=line, annotation_clip=False
        )
        axes.annotate(
            f"{value:.0f}",
            where,
            xycoords=units,
            zorder=5,
            bbox=_PATCH,
            annotation_clip=False,
            **_type(number, across, along),
        )


def _draw_names(axes: Any, places: Sequence[tuple[Place | None, str]], strip: Array) -> None:
    """Write beside each place what it is, where no line, place or other name is in the way."""
    scale = _STRIP_PT / float(strip[1, 0] - strip[0, 0])  # points per pixel
    size = (strip[1] - strip[0]) * scale
    spots = [(np.array(place) - strip[0]) * scale for place, _ in places if place is not None]
    taken: list[Array] = [np.stack([spot - _CLOSE_PT, spot + _CLOSE_PT]) for spot in spots]
    for spot in spots:  # the lines to the rulers
        taken += [np.array([[0.0, spot[1] - 3], [spot[0], spot[1] + 3]])]
        taken += [np.array([[spot[0] - 3, 0.0], [spot[0] + 3, spot[1]]])]
    for number, (place, name) in enumerate(places):
        if place is None:
            continue
        spot = (np.array(place) - strip[0]) * scale
        boxes = [_box(spot, len(name), *sides) for sides in _SIDES]
        costs = [_cost(box, taken, size) for box in boxes]
        best = int(np.argmin(costs))
        taken.append(boxes[best])
        across, up = _SIDES[best]
        style = _type(number, "left" if across > 0 else "right", "bottom" if up > 0 else "top")
        away = (across * _CLOSE_PT, up * _CLOSE_PT)
        text = axes.annotate(name, place, away, textcoords="offset points", **style)
        text.set_path_effects(halo(4.0))


def _box(spot: Array, letters: int, across: float, up: float) -> Array:
    """Lower left and upper right corner of a name beside a spot, shape (2, 2). [pt]"""
    ends = np.array([[across, up], [across, up]]) * _CLOSE_PT + [
        [0.0, 0.0],
        [across * 12.0 * letters, up * 22.0],
    ]
    return np.asarray(spot + np.sort(ends, axis=0))


def _cost(box: Array, taken: Sequence[Array], size: Array) -> float:
    """How much of a box lies over others or off the strip. [pt^2]"""
    overlaps = [np.clip(np.minimum(box[1], b[1]) - np.maximum(box[0], b[0]), 0, None).prod() for b in taken]
    outside = (
        np.prod(box[1] - box[0]) - np.clip(np.minimum(box[1], size) - np.maximum(box[0], 0), 0, None).prod()
    )
    return float(sum(overlaps) + 2 * outside)


def _type(number: int, across: str, along: str) -> dict[str, Any]:
    return {"color": _COLOURS[number], "fontsize": 19, "fontweight": "bold", "ha": across, "va": along}
