"""Results that show themselves in a notebook, without knowing how: who shows them is told from above.

A result's room may not import `report`, which stands above it. So results inherit from these classes, whose methods ask
a presenter; the package itself says where it is.
"""

from __future__ import annotations

from collections.abc import Callable
from os import PathLike
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from astropy.table import QTable
    from matplotlib.figure import Figure

__all__ = ["Presenter", "WithDict", "WithPlot", "WithTable", "present_with"]


class Presenter(Protocol):
    """Turns results into what a notebook shows."""

    def dict_of(self, result: object) -> dict[str, Any]:
        """Return the keys of the result's JSON."""

    def table_of(self, result: object) -> QTable:
        """Return the result's rows."""

    def figure_of(self, result: object) -> Figure:
        """Return the result's picture."""

    def save(self, figure: Figure, path: str | PathLike[str]) -> None:
        """Write a picture."""


_find: Callable[[], Presenter] | None = None


def present_with(find: Callable[[], Presenter]) -> None:
    """Say where the presenter is.

    Parameters
    ----------
    find : callable
        Gives it; called when a result is first asked to show itself, and at every time after.
    """
    global _find
    _find = find


def _presenter() -> Presenter:
    assert _find is not None, "the package says who presents when it is imported"
    return _find()


class WithDict:
    """A result with `to_dict`."""

    __slots__ = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the result under the keys of the command's JSON, units in their names; unknown is None.

        Returns
        -------
        dict
            Of dicts, lists, text, finite numbers, True, False and None; docs/schemas describes the keys. Keys about what
            the result was asked of (site, target), which it does not know itself, are not among them.
        """
        return _presenter().dict_of(self)


class WithTable:
    """A result with `table`."""

    __slots__ = ()

    def table(self) -> QTable:
        """Return the result's rows.

        Returns
        -------
        astropy.table.QTable
            Columns with units; NaN, or masked, where something is unknown.
        """
        return _presenter().table_of(self)


class WithPlot:
    """A result with `plot`."""

    __slots__ = ()

    def plot(self, path: str | PathLike[str] | None = None) -> Figure:
        """Draw the result.

        Parameters
        ----------
        path : path, optional
            Where to save it; the format follows the ending (.png or .svg).

        Returns
        -------
        matplotlib.figure.Figure
            A notebook shows it.

        Raises
        ------
        InputError
            The file cannot be written.
        """
        figure = _presenter().figure_of(self)
        if path is not None:
            _presenter().save(figure, path)
        return figure
