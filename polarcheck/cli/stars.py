"""``polarcheck stars``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck import report
from polarcheck import stars as star_room
from polarcheck.cli.command import command
from polarcheck.cli.output import OutputOptions, show
from polarcheck.cli.progress import progress_line

__all__ = ["stars_command"]


@command
def stars_command(
    *,
    frames: Annotated[
        list[Path], typer.Argument(help="Folders, files or patterns; solved or not.", metavar="FRAMES...")
    ],
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    output: OutputOptions,
) -> None:
    """Measure the stars of frames: how many, how wide, how long, and whether the mount still moved.

    Example: polarcheck stars frames/
    """
    output.check()
    found = star_room.measure_stars(frames, recursive=recursive, progress=progress_line(3))
    output.draw(lambda path: report.save_stars_picture(found, path))
    show(
        output.as_json,
        lambda: report.stars_object(found),
        lambda: report.stars_text(found),
        star_room.star_notices(found) if output.as_json else (),
    )
