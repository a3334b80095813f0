"""What all pictures share: dark ground and warm, dim ink, so that they can be looked at between exposures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["DIM", "FILL", "GROUND", "INK", "PALE", "STRONG", "dress", "new_figure", "save"]

GROUND, INK, DIM, FILL, STRONG, PALE = "#140a08", "#c98770", "#5e3f36", "#8f5c4b", "#f2704c", "#e8b48f"


def new_figure(width_in: float, height_in: float) -> Any:
    """Return an empty figure; no window is opened."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    margins = ConstrainedLayoutEngine(w_pad=0.15, h_pad=0.12)
    figure = Figure(figsize=(width_in, height_in), facecolor=GROUND, layout=margins)
    FigureCanvasAgg(figure)
    return figure


def dress(axes: Any, *, grid: bool = True) -> None:
    """Give axes the colours of the ground and the ink."""
    axes.set_facecolor(GROUND)
    axes.tick_params(colors=INK, labelsize=9)
    for spine in axes.spines.values():
        spine.set_color(DIM)
    axes.xaxis.label.set_color(INK)
    axes.yaxis.label.set_color(INK)
    axes.title.set_color(INK)
    axes.title.set_fontsize(10)
    if grid:
        axes.grid(visible=True, color=DIM, linewidth=0.4, alpha=0.5)


def save(figure: Any, path: Path) -> None:
    """Save a figure; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    undated = {"Date": None} if path.suffix.lower() == ".svg" else {}
    try:
        figure.savefig(path, dpi=130, facecolor=GROUND, metadata=undated)
    except OSError as error:
        raise InputError(f"{printable(path)}: cannot be written ({error.strerror or error})") from None
