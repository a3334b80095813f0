"""A figure that a notebook shows, with pyplot loaded or not."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

__all__ = ["ShownFigure"]


class ShownFigure(Figure):
    """A figure with a canvas of its own; no window is opened."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        FigureCanvasAgg(self)

    def _repr_png_(self) -> bytes:
        """Return what a notebook shows in place of the figure's name."""
        content = BytesIO()
        self.savefig(content, format="png", dpi=90, facecolor=self.get_facecolor())
        return content.getvalue()
