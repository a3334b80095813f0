"""A solver made ready: the engine on this machine, and what is known of all frames."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.site import Site
from polarcheck.solving.children import Children
from polarcheck.solving.engine import Engine, EngineError, Match, Task
from polarcheck.solving.field_engine import FieldEngine
from polarcheck.solving.index_files import find_index_files, usual_index_folders
from polarcheck.solving.wanted import Hints, Place

__all__ = ["LIMIT_S", "Solver", "find_solver"]

LIMIT_S = 30.0
"""What a frame may take unless told. [s]"""

_PROGRAM = "solve-field"


@dataclass(frozen=True, slots=True)
class NoEngine:
    """Stands where no engine was looked for yet."""

    @property
    def name(self) -> str:
        """What to call it."""
        return "no solver"

    def match(self, task: Task, children: Children) -> Match | None:
        """See `Engine`."""
        raise EngineError("no solver was made ready")

    def missing_sizes(self, hints: Hints, size_px: tuple[int, int]) -> tuple[float, float] | None:
        """See `Engine`."""
        return None


@dataclass(frozen=True, slots=True)
class Solver:
    """A plate solver with its settings; one serves any number of frames, from any thread.

    Attributes
    ----------
    engine : Engine
        Looked for on this machine when the first frame needs it, unless given; see `ready`.
    index_folders : tuple of pathlib.Path
        Where index files lie, beside the usual folders.
    limit_s : float
        What one frame may take. [s]
    scale_arcsec : tuple of float or None
        Least and greatest pixel scale, where it was stated. [arcsec/px]
    rig_scale_arcsec : float or None
        What the rig file makes of it, a guess that may be wrong. [arcsec/px]
    place : Place or None
        Where all frames look, if known.
    site : Site or None
        Of frames whose header names none, for refraction.
    into : pathlib.Path or None
        The folder that solutions go to; None is beside each frame.
    refits : bool
        Whether to fit the attitude again to the matched stars, or to keep the solver's own solution.
    """

    engine: Engine = NoEngine()
    index_folders: tuple[Path, ...] = ()
    limit_s: float = LIMIT_S
    scale_arcsec: tuple[float, float] | None = None
    rig_scale_arcsec: float | None = None
    place: Place | None = None
    site: Site | None = None
    into: Path | None = None
    refits: bool = True

    def ready(self) -> Solver:
        """Return it with an engine.

        Raises
        ------
        InputError
            There is none on this machine, or it has no index files.
        """
        if not isinstance(self.engine, NoEngine):
            return self
        return replace(self, engine=find_solver(self.index_folders))


def find_solver(index_folders: Sequence[Path] = ()) -> Engine:
    """Find the solver on this machine.

    Parameters
    ----------
    index_folders : sequence of pathlib.Path
        Where its index files lie, beside the usual folders.

    Returns
    -------
    Engine

    Raises
    ------
    InputError
        There is none, or it has no index files.
    """
    program = shutil.which(_PROGRAM)
    if program is None:
        raise InputError(
            f"there is no plate solver here ({_PROGRAM} is not on the path); docs/solving.md says what to install"
        )
    folders = [*index_folders, *usual_index_folders()]
    files = find_index_files(folders)
    if not files:
        looked = (
            ", ".join(printable(folder) for folder in folders)
            or "no folder of index files is where it usually is"
        )
        raise InputError(
            f"{_PROGRAM} has no index files here (looked in: {looked}); docs/solving.md says which ones your field needs",
            ["index_folders"],
        )
    return FieldEngine(program, files)
