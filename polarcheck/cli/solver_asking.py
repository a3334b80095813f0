"""The options about the plate solver, and frames solved on the way to another command."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import report, sky, solving, times
from polarcheck.cli.ending import STOPPED, say
from polarcheck.cli.parsing import parsed
from polarcheck.cli.progress import progress_line
from polarcheck.errors import InputError, ParameterError
from polarcheck.printable import printable

if TYPE_CHECKING:
    from polarcheck.frames import Clock
    from polarcheck.measurement import Reading
    from polarcheck.rig import Rig

__all__ = ["SolveOption", "SolverOptions", "solve_first", "solved_here", "solving_meanwhile"]

SolveOption = Annotated[
    bool,
    typer.Option(
        "--solve", help="Plate-solve frames that are not solved yet first, as polarcheck solve does."
    ),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolverOptions:
    """What the solver is told."""

    scale: Annotated[
        str | None,
        typer.Option(
            help="Pixel scale, arcsec per pixel: 1.1,1.3, or 1.2 for within 5 %. Else from rig file or header.",
            metavar="LOW,HIGH",
        ),
    ] = None
    near: Annotated[
        str | None,
        typer.Option(
            help="Where the frames look, within 20 deg: RA,DEC or a name. Else from the header.",
            metavar="RA,DEC|NAME",
        ),
    ] = None
    limit: Annotated[
        str | None, typer.Option(help="What one frame may take: 30s (the default), 2min.", metavar="DURATION")
    ] = None
    index: Annotated[
        list[Path] | None,
        typer.Option(
            help="A folder of index files, beside the usual ones; may be repeated.", metavar="FOLDER"
        ),
    ] = None

    def solver(
        self, rig_file: Rig | None, into: Path | None = None, *, refits: bool = True
    ) -> solving.Solver:
        """Return the solver with its settings."""
        limit = solving.LIMIT_S if self.limit is None else parsed("--limit", self.limit, times.parse_duration)
        if not 0.1 <= limit <= 86_400:
            raise typer.BadParameter("must be from 0.1s to 24h", param_hint="--limit")
        for folder in self.index or ():
            if not folder.is_dir():
                raise ParameterError(f"there is no folder '{folder}'", "index_folders")
        place = None
        if self.near is not None:
            place = solving.Place(*parsed("--near", self.near, sky.find_target).place)
        known = rig_solver(rig_file)
        return replace(
            known,
            index_folders=(*(self.index or ()), *known.index_folders),
            limit_s=limit,
            scale_arcsec=None if self.scale is None else parsed("--scale", self.scale, solving.parse_scale),
            place=place,
        )


def rig_solver(rig_file: Rig | None) -> solving.Solver:
    """Return the solver as the rig file has it.

    A command of a file that was merely found among the frames is not run: such a folder may come from anybody.
    """
    if rig_file is None:
        return solving.Solver()
    table = rig_file.solver
    if table.command is not None and rig_file.place not in ("named", "in the configuration folder"):
        raise InputError(
            f"{printable(rig_file.path)}: names a solver's command, and was found {rig_file.place}; name it with --rig if "
            "that program is to be run"
        )
    command = table.command and tuple(
        part if isinstance(part, str) else tuple(part) for part in table.command
    )
    return solving.Solver(
        index_folders=tuple(Path(folder).expanduser() for folder in table.index_folders or ()),
        command=command or None,
        rig_scale_arcsec=rig_file.pixel_scale_arcsec,
        site=rig_file.site,
    )


def solve_first(
    wanted: bool, paths: Sequence[Path], rig_file: Rig | None, read: Reading, *, recursive: bool = False
) -> None:
    """Solve what is not solved before another command looks at it; say on stderr what became of it.

    A frame that cannot be solved is left to that command, which leaves it out as any unsolved one.
    """
    if not (wanted or (rig_file is not None and rig_file.solver.always)):
        return
    solver = replace(rig_solver(rig_file), clock_ahead_s=read.clock_ahead_s, zone=read.zone)
    solved = solved_here(list(paths), solver, recursive=recursive)
    new = len(solved.some(solving.State.SOLVED))
    left = solved.some(solving.State.UNSOLVED)
    if new or left:
        say(f"Solved on the way: {new} of {new + len(left)} frames.")
    if left:
        say(report.unsolved_text(solved))
    if solved.was_stopped:
        raise typer.Exit(STOPPED)


def solving_meanwhile(
    wanted: bool,
    folder: Path,
    rig_file: Rig | None,
    clock: Clock,
    *,
    recursive: bool,
    told: Callable[[solving.SolvedSet], None],
) -> AbstractContextManager[object]:
    """Return what keeps a folder solved as long as it is entered; nothing where that is not wanted.

    `told` is called from another thread with what was solved, or could not be.
    """
    if not (wanted or (rig_file is not None and rig_file.solver.always)):
        return nullcontext()
    solver = replace(rig_solver(rig_file), clock_ahead_s=clock.ahead_s, zone=clock.zone)
    return solving.FolderSolver(folder, solver, recursive=recursive, told=told)


def solved_here(
    frames: list[Path], solver: solving.Solver, *, recursive: bool = False, again: bool = False
) -> solving.SolvedSet:
    """Solve frames, with progress; a request to end ends the solvers first."""
    with _ended_gently():
        return solving.solve_frames(
            frames,
            solver,
            recursive=recursive,
            again=again,
            progress=progress_line("solving frame", with_time_left=True),
        )


@contextmanager
def _ended_gently() -> Iterator[None]:
    """Take a request to end (SIGTERM) as the interrupt key, so that no solver is left running."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, _interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _interrupt(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
