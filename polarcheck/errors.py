"""What can go wrong, as data: an exception tree, and notices for usable but doubtful input.

::

    PolarcheckError(ValueError)
    ├── InputError       an argument or a setting is impossible (site, time, angle)
    ├── FrameError       one file cannot be used; carries ``path``
    ├── GeometryError    the frames cannot give the axis; carries ``arc_deg``
    └── FitError         the frames contradict each other

An exception's text says what is wrong, in which file, and what to do. Doubtful but usable data does
not raise: it travels with the result as a `Notice`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

__all__ = ["FitError", "FrameError", "GeometryError", "InputError", "Notice", "PolarcheckError"]


class PolarcheckError(ValueError):
    """The input gives no honest result; the message says why and what to do."""


class InputError(PolarcheckError):
    """An argument or a setting is impossible: a site, a time, an angle."""


class FrameError(PolarcheckError):
    """One file cannot be used as a frame.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    reason : str
        What is wrong with it and what to do, printable, without the file's name.
    """

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(reason)
        self.path = path
        self.reason = reason


class GeometryError(PolarcheckError):
    """The frames' geometry cannot give the axis.

    Parameters
    ----------
    message : str
        What is missing and which frames would help.
    arc_deg : float
        Largest span of rotation about the axis that the frames cover. [deg]
    """

    def __init__(self, message: str, arc_deg: float) -> None:
        super().__init__(message)
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
    """

    code: str
    text: str
