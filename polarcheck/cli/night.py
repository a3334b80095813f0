"""``polarcheck night``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck import night, report
from polarcheck.cli.command import command
from polarcheck.cli.output import OutputOptions, show

__all__ = ["night_command"]


@command
def night_command(
    *,
    folders: Annotated[
        list[Path] | None,
        typer.Argument(help="Folders with a night's file in them; this one unless given.", metavar="FOLDER"),
    ] = None,
    output: OutputOptions,
) -> None:
    """Tell a night: each finding of the axis, what was told and done, what came of it and what was learned.

    Of several nights of one mount, in one folder or several: how the axis moved from night to night, and what to keep.

    Example: polarcheck night frames/ --plot night.png
    """
    output.check()
    found = night.read_nights(folders or [Path()])
    output.draw(lambda path: report.save_night_picture(found, path))
    show(output.as_json, lambda: report.night_object(found), lambda: report.night_text(found), found.notices)
