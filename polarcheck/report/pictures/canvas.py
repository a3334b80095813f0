"""What all pictures share: a style of their own, dark ground, warm ink, labels at the lines, letters for a phone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from polarcheck.writing import MARK, new_file

__all__ = [
    "DIM",
    "FILL",
    "GROUND",
    "HEAD_PT",
    "INK",
    "LINES",
    "PALE",
    "STRONG",
    "STYLES",
    "TEXT_PT",
    "WIDTH_IN",
    "dress",
    "halo",
    "label_ends",
    "new_figure",
    "own_style",
    "save",
    "shades",
    "without_overlap",
]

GROUND, INK, DIM, FILL, STRONG, PALE = "#140a08", "#d39a85", "#5e3f36", "#8f5c4b", "#f2704c", "#e8b48f"
LINES = ("#f7d9c4", "#f08c62", "#c4603e", "#8e4f39")
"""For lines in one picture: each half as light again as the next, so that a red lamp or no colour vision is enough."""
STYLES = ("-", (0, (6, 2)), (0, (2, 2)), (0, (6, 2, 1, 2)))
"""And each drawn in its own way."""

WIDTH_IN = 6.2
TEXT_PT, HEAD_PT = 10.5, 12.0  # at a width of 400 px the smallest letters are still 9 px
_DPI = 130
_LETTER_EM = 1.35  # from one label to the next

STYLE: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],  # comes with matplotlib
    "font.size": TEXT_PT,
    "svg.hashsalt": "polarcheck",  # the same picture gives the same file
}


@contextmanager
def own_style() -> Iterator[None]:
    """Draw in the style of these pictures: matplotlib's defaults and `STYLE`, whatever the user's settings are."""
    from matplotlib import style

    with style.context(["default", STYLE]):
        yield


def new_figure(width_in: float, height_in: float) -> Any:
    """Return an empty figure; no window is opened."""
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    from polarcheck.report.pictures.figure import ShownFigure

    margins = ConstrainedLayoutEngine(w_pad=0.12, h_pad=0.12)
    return ShownFigure(figsize=(width_in, height_in), facecolor=GROUND, layout=margins)


def dress(axes: Any, *, grid: bool = True) -> None:
    """Give axes the colours of the ground and the ink."""
    axes.set_facecolor(GROUND)
    axes.tick_params(colors=INK, labelsize=TEXT_PT)
    for spine in axes.spines.values():
        spine.set_color(DIM)
    for label in (axes.xaxis.label, axes.yaxis.label, axes.title):
        label.set_color(INK)
        label.set_fontsize(TEXT_PT)
    if grid:
        axes.grid(visible=True, color=DIM, linewidth=0.4, alpha=0.5)


def halo(width: float = 3.0) -> list[Any]:
    """Return an outline in the colour of the ground, which parts a label from what it stands on."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=width, foreground=GROUND)]


def shades(count: int, darkest: str = "#3a1c14") -> list[Any]:
    """Return so many fills, each lighter than the one before."""
    from matplotlib.colors import LinearSegmentedColormap

    ramp = LinearSegmentedColormap.from_list("embers", [darkest, FILL, "#c4785c", "#f0a27e", "#f7d9c4"])
    return [ramp(i / max(count - 1, 1)) for i in range(count)]


def label_ends(axes: Any, ends: Sequence[tuple[float, str, str]], height_in: float) -> None:
    """Write names beside the right ends of lines, none over another; the limits of the axes must be set.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
    ends : sequence of (value, name, colour)
        Where each line ends. [data]
    height_in : float
        About the height of the axes. [inch]
    """
    low, high = axes.get_ylim()
    least = _LETTER_EM * TEXT_PT / 72 / height_in
    places = sorted(((value - low) / (high - low), name, colour) for value, name, colour in ends)
    heights = [place[0] for place in places]
    for i in range(1, len(heights)):
        heights[i] = max(heights[i], heights[i - 1] + least)
    for i in range(len(heights) - 1, -1, -1):  # what was pushed out at the top moves back down
        heights[i] = min(heights[i], 1.0 - least * (len(heights) - 1 - i))
    for height, (_, name, colour) in zip(heights, places, strict=True):
        axes.text(1.02, height, name, transform=axes.transAxes, color=colour, va="center", fontsize=TEXT_PT)


def without_overlap(figure: Any, labels: Sequence[Any], gap_px: float = 2.0) -> None:
    """Take away labels that would lie over an earlier one of the list, or over the edge of their axes."""
    figure.canvas.draw()
    kept: list[Any] = []
    for label in labels:
        box = label.get_window_extent().padded(gap_px)
        edges = label.axes.get_window_extent()
        inside = edges.x0 <= box.x0 and box.x1 <= edges.x1 and edges.y0 <= box.y0 and box.y1 <= edges.y1
        if not inside or any(box.overlaps(other) for other in kept):
            label.set_visible(False)
        else:
            kept.append(box)


def save(figure: Any, path: Path) -> None:
    """Save a figure; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    kind = path.suffix.lower().removeprefix(".")
    said = {"Date": None, "Creator": MARK} if kind == "svg" else {"Software": MARK}
    with new_file(path) as stream:
        figure.savefig(stream, format=kind, dpi=_DPI, facecolor=GROUND, metadata=said)
