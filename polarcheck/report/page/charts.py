"""Plain charts as shapes on a sheet of fixed size, which a template writes as SVG: text stays text, colours are the page's."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

__all__ = ["Chart", "Curve", "Dot", "Label", "Sheet", "linear_ticks", "log_ticks"]

Anchor = Literal["start", "middle", "end"]

_NICE = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Curve:
    """A line or an outline.

    Attributes
    ----------
    path : str
        Of the SVG attribute ``d``.
    kind : str
        Class, for the style sheet.
    name : str
        Identifier by which the script finds it; empty without one.
    """

    path: str
    kind: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Dot:
    """A mark at a place.

    Attributes
    ----------
    x, y : float
        On the sheet.
    kind : str
        Class, for the style sheet.
    """

    x: float
    y: float
    kind: str


@dataclass(frozen=True, slots=True)
class Label:
    """A text at a place.

    Attributes
    ----------
    x, y : float
        On the sheet, at the text's base line.
    text : str
    anchor : {"start", "middle", "end"}
    kind : str
        Class, for the style sheet.
    """

    x: float
    y: float
    text: str
    anchor: Anchor = "middle"
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet with a plotting box and two scales.

    Attributes
    ----------
    width, height : float
        Of the sheet.
    x_span, y_span : tuple of float
        Values at the box's left and right, bottom and top.
    is_log : bool
        Whether both scales are logarithmic.
    """

    width: float
    height: float
    x_span: tuple[float, float]
    y_span: tuple[float, float]
    is_log: bool = False

    LEFT, RIGHT, TOP, BOTTOM = 54.0, 12.0, 12.0, 42.0

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the plotting box."""
        return self.LEFT, self.TOP, self.width - self.RIGHT, self.height - self.BOTTOM

    def x(self, value: float) -> float:
        """Return where a value stands across."""
        left, _, right, _ = self.box
        return left + (right - left) * self._share(value, self.x_span)

    def y(self, value: float) -> float:
        """Return where a value stands, up."""
        _, top, _, bottom = self.box
        return bottom - (bottom - top) * self._share(value, self.y_span)

    def _share(self, value: float, span: tuple[float, float]) -> float:
        low, high = span
        if self.is_log:
            low, high, value = math.log(low), math.log(high), math.log(max(value, 1e-12))
        return (value - low) / (high - low)

    def path(self, points: Sequence[Sequence[float]], *, closed: bool = False) -> str:
        """Return a line through points as the SVG attribute ``d``."""
        places = [f"{self.x(float(p[0])):.2f} {self.y(float(p[1])):.2f}" for p in points]
        return ("M" + "L".join(places) + ("Z" if closed else "")) if places else ""


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart, ready to be written.

    Attributes
    ----------
    sheet : Sheet
    name : str
        Identifier, unique on the page.
    title, description : str
        What it shows, and what is to be seen in it: its text alternative.
    note : str
        What stands below it.
    x_title, y_title : str
    x_ticks, y_ticks : tuple of (float, str)
        Places on the sheet, and what stands there.
    curves : tuple of Curve
    dots : tuple of Dot
    labels : tuple of Label
    """

    sheet: Sheet
    name: str
    title: str
    description: str
    note: str
    x_title: str = ""
    y_title: str = ""
    x_ticks: tuple[tuple[float, str], ...] = ()
    y_ticks: tuple[tuple[float, str], ...] = ()
    curves: tuple[Curve, ...] = ()
    dots: tuple[Dot, ...] = ()
    labels: tuple[Label, ...] = ()


def linear_ticks(low: float, high: float, most: int = 6) -> list[tuple[float, str]]:
    """Return round values within a span, at most so many, with as many decimals as they need.

    Parameters
    ----------
    low, high : float
    most : int

    Returns
    -------
    list of (float, str)
    """
    rough = (high - low) / most
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * nice for nice in _NICE if size * nice >= rough * 0.999999)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    if round(step * 10**decimals, 6) % 1:
        decimals += 1
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [(i * step, f"{i * step + 0.0:.{decimals}f}".replace("-", "−")) for i in range(first, last + 1)]


def log_ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Return the powers of ten within a span.

    Parameters
    ----------
    low, high : float

    Returns
    -------
    list of (float, str)
    """
    first, last = math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high) + 1e-9)
    return [(10.0**i, f"{10.0**i:g}") for i in range(first, last + 1)]
