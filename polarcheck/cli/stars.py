"""``polarcheck stars``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import measurement, report
from polarcheck import stars as star_room
from polarcheck.cli.clock_asking import zone_of
from polarcheck.cli.command import command
from polarcheck.cli.output import OutputOptions, show
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import RigOption, found_rig
from polarcheck.cli.solver_asking import SolveOption, solve_first
from polarcheck.errors import InputError

if TYPE_CHECKING:
    from polarcheck.rig import Rig

__all__ = ["stars_command"]


@command
def stars_command(
    *,
    frames: Annotated[
        list[Path], typer.Argument(help="Folders, files or patterns; solved or not.", metavar="FRAMES...")
    ],
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    solve: SolveOption = False,
    rig: RigOption = None,
    output: OutputOptions,
) -> None:
    """Measure the stars of frames: how many, how wide, how long, and whether the mount still moved.

    Example: polarcheck stars frames/
    """
    output.check()
    rig_file = _rig_file(rig, frames, is_needed=solve or rig is not None)
    solve_first(
        solve, frames, rig_file, measurement.Reading(zone=zone_of(None, rig_file)), recursive=recursive
    )
    found = star_room.measure_stars(frames, recursive=recursive, progress=progress_line())
    output.draw(lambda path: report.save_stars_picture(found, path))
    show(
        output.as_json,
        lambda: report.stars_object(found),
        lambda: report.stars_text(found),
        star_room.star_notices(found) if output.as_json else (),
    )


def _rig_file(named: Path | None, frames: list[Path], *, is_needed: bool) -> Rig | None:
    """The rig file; one that nobody named and nobody needs may be at fault, and is not told of."""
    try:
        return found_rig(named, frames, told=is_needed)
    except InputError:
        if is_needed:
            raise
        return None
