"""``polarcheck stars``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck.cli.asking import JsonOption
from polarcheck.cli.shared import ending, progress_line, writable

__all__ = ["stars_command"]


def stars_command(
    frames: Annotated[
        list[Path], typer.Argument(help="Folders, files or patterns; solved or not.", metavar="FRAMES...")
    ],
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    plot: Annotated[
        Path | None, typer.Option(help="Save a picture: FILE.png or FILE.svg.", metavar="FILE")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Measure the stars of frames: how many, how wide, how long, and whether the mount still moved.

    Example: polarcheck stars frames/
    """
    with ending():
        writable("--plot", plot, [".png", ".svg"])
        from polarcheck.report import json_text, notice_text, stars_object, stars_text
        from polarcheck.stars import measure_stars, star_notices

        found = measure_stars(frames, recursive=recursive, progress=progress_line(3))
        if plot is not None:
            from polarcheck.report import save_stars_picture

            save_stars_picture(found, plot)
        typer.echo(json_text(stars_object(found)) if as_json else stars_text(found))
        for notice in star_notices(found) if as_json else ():
            typer.echo(notice_text(notice), err=True)
