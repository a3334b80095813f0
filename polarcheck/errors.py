"""What can go wrong, as data: an exception tree, and notices for usable but doubtful input.

::

    PolarcheckError(ValueError)
    ├── InputError       an argument or a setting is impossible (site, time, angle)
    │   └── ParameterError   one parameter's value can never be; carries ``parameter``
    ├── FrameError       one file cannot be used; carries ``path``
    │   ├── UnsolvedError    because it holds no plate solution
    │   └── UnfinishedError  because it is still being written
    ├── GeometryError    the frames cannot give the axis; carries ``arc_deg``
    └── FitError         the frames contradict each other

An exception's text says what is wrong, in which file, and what to do. Where another value of some parameter would
mend it, `parameters` names them as the library calls them; the command line, which calls them otherwise, turns them
into its options. Doubtful but usable data does not raise: it travels with the result as a `Notice`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = [
    "FitError",
    "FrameError",
    "GeometryError",
    "InputError",
    "Notice",
    "ParameterError",
    "PolarcheckError",
    "UnfinishedError",
    "UnsolvedError",
]


class PolarcheckError(ValueError):
    """The input gives no honest result; the message says why and what to do.

    Parameters
    ----------
    message : str
        What is wrong, in which file, and what to do.
    parameters : sequence of str
        The library's parameters that would mend it, such as ``"site"`` or ``"clock_ahead_s"``.

    Attributes
    ----------
    is_unsolved : bool
        Whether frames lack a plate solution, so that solving them would mend it.
    """

    is_unsolved = False

    def __init__(self, message: str = "", parameters: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.parameters = tuple(parameters)


class InputError(PolarcheckError):
    """An argument or a setting is impossible: a site, a time, an angle."""


class ParameterError(InputError):
    """The value of one parameter can never be: out of its range, unreadable.

    Parameters
    ----------
    message : str
        What is wrong with the value, and what would do.
    parameter : str
        The library's name of the parameter.
    """

    def __init__(self, message: str, parameter: str) -> None:
        super().__init__(message, (parameter,))
        self.parameter = parameter


class FrameError(PolarcheckError):
    """One file cannot be used as a frame.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    reason : str
        What is wrong with it and what to do, printable, without the file's name.
    parameters : sequence of str
        As for `PolarcheckError`.
    """

    def __init__(self, path: Path, reason: str, parameters: Sequence[str] = ()) -> None:
        super().__init__(reason, parameters)
        self.path = path
        self.reason = reason


class UnsolvedError(FrameError):
    """One file cannot be used as a frame because it holds no plate solution."""

    is_unsolved = True


class UnfinishedError(FrameError):
    """One file cannot be used as a frame because not all of its bytes are there yet."""


class GeometryError(PolarcheckError):
    """The frames' geometry cannot give the axis.

    Parameters
    ----------
    message : str
        What is missing and which frames would help.
    arc_deg : float
        Largest span of rotation about the axis that the frames cover. [deg]
    parameters : sequence of str
        As for `PolarcheckError`.
    """

    def __init__(self, message: str, arc_deg: float, parameters: Sequence[str] = ()) -> None:
        super().__init__(message, parameters)
        self.arc_deg = arc_deg


class FitError(PolarcheckError):
    """The frames contradict each other so that no axis explains them."""


@dataclass(frozen=True, slots=True)
class Notice:
    """Something doubtful that the reader of a result must know.

    Attributes
    ----------
    code : str
        Short stable name, lower case with hyphens, for scripts.
    text : str
        One or two printable sentences: what it is, what it costs, what to do.
    parameters : tuple of str
        The library's parameters that would mend it, as for `PolarcheckError`.
    """

    code: str
    text: str
    parameters: tuple[str, ...] = ()
