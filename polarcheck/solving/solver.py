"""A solver made ready: the engine on this machine, and what is known of all frames."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeAlias

from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.site import Site
from polarcheck.solving.children import Children
from polarcheck.solving.engine import Engine, EngineError, Match, Task
from polarcheck.solving.field_engine import FieldEngine
from polarcheck.solving.index_files import find_index_files, usual_index_folders
from polarcheck.solving.packaged_engine import PACKAGE, PackagedEngine, is_installed
from polarcheck.solving.template_engine import TemplateEngine
from polarcheck.solving.wanted import Hints, Place

__all__ = ["LIMIT_S", "Command", "Solver", "find_engine"]

LIMIT_S = 30.0
"""What a frame may take unless told. [s]"""

_PROGRAM = "solve-field"

Command: TypeAlias = tuple[str | tuple[str, ...], ...]


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
    command : tuple or None
        Of another solver, as `TemplateEngine` takes it.
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
    clock_ahead_s : float
        By how much the clock in the headers was ahead of UTC. [s]
    zone : str or None
        Time zone of local times that do not name theirs.
    refits : bool
        Whether to fit the attitude again to the matched stars, or to keep the solver's own solution.
    """

    engine: Engine = NoEngine()
    index_folders: tuple[Path, ...] = ()
    command: Command | None = None
    limit_s: float = LIMIT_S
    scale_arcsec: tuple[float, float] | None = None
    rig_scale_arcsec: float | None = None
    place: Place | None = None
    site: Site | None = None
    into: Path | None = None
    clock_ahead_s: float = 0.0
    zone: str | None = None
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
        return replace(self, engine=find_engine(self.command, self.index_folders))


def find_engine(command: Command | None, index_folders: Sequence[Path] = ()) -> Engine:
    """Find a plate solver: the one that is named, else the one on the path, else the one that is a Python package.

    Parameters
    ----------
    command : tuple or None
        Of another solver, as `TemplateEngine` takes it.
    index_folders : sequence of pathlib.Path
        Where index files lie, beside the usual folders.

    Returns
    -------
    Engine

    Raises
    ------
    InputError
        There is none, or it has no index files.
    """
    if command is not None:
        return TemplateEngine(command)
    program = shutil.which(_PROGRAM)
    if program is None and not is_installed():
        raise InputError(
            f"there is no plate solver here (no {_PROGRAM} on the path, no Python package {PACKAGE}); docs/solving.md says "
            "what to install"
        )
    folders = [*index_folders, *usual_index_folders()]
    files = find_index_files(folders)
    if not files:
        looked = ", ".join(printable(folder) for folder in folders) or "none of the usual folders is there"
        raise InputError(
            f"the plate solver has no index files here (looked in: {looked}); docs/solving.md says which ones your field "
            "needs",
            ["index_folders"],
        )
    return PackagedEngine(files) if program is None else FieldEngine(program, files)
