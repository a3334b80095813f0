"""``polarcheck solve``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from polarcheck import report, solving
from polarcheck.cli.clock_asking import ClockAheadOption, ZoneOption, ahead_s, zone_of
from polarcheck.cli.command import command
from polarcheck.cli.ending import STOPPED
from polarcheck.cli.output import JsonOption, show
from polarcheck.cli.rig_asking import RigOption, found_rig
from polarcheck.cli.solver_asking import SolverOptions, solved_here
from polarcheck.errors import InputError

__all__ = ["solve_command"]


@command
def solve_command(
    *,
    frames: Annotated[
        list[Path], typer.Argument(help="Folders, files or patterns.", metavar="FOLDER|FILES...")
    ],
    into: Annotated[
        Path | None,
        typer.Option(help="Keep the solutions in this folder, not beside the frames.", metavar="FOLDER"),
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Solve frames that have a solution, too.")] = False,
    asked: SolverOptions,
    rig: RigOption = None,
    clock_ahead: ClockAheadOption = None,
    zone: ZoneOption = None,
    as_solved: Annotated[
        bool, typer.Option("--as-solved", help="Keep the solver's own solutions, fit nothing to them.")
    ] = False,
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Plate-solve frames with the solver on this machine, and keep the solutions beside them.

    polarcheck finds the stars of each frame and hands the list to a general plate solver; docs/solving.md says which
    ones, and what to install. Frames that have a solution are left alone, and no frame is ever changed.

    Example: polarcheck solve frames/ --scale 4.7,5.2
    """
    rig_file = found_rig(rig, frames)
    solver = replace(
        asked.solver(rig_file),
        into=into,
        clock_ahead_s=ahead_s(clock_ahead),
        zone=zone_of(zone, rig_file),
        refits=not as_solved,
    )
    solved = solved_here(frames, solver, recursive=recursive, again=again)
    if not solved.some(solving.State.SOLVED) and not solved.some(solving.State.WAS_SOLVED):
        if solved.was_stopped:
            raise typer.Exit(STOPPED)
        raise InputError(f"no frame was solved\n{report.unsolved_text(solved)}")
    show(as_json, lambda: report.solve_object(solved), lambda: report.solved_text(solved))
    if solved.was_stopped:
        raise typer.Exit(STOPPED)
