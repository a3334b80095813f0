"""``polarcheck watch``."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Literal

import typer

from polarcheck import frames, night, watch
from polarcheck.cli.alignment_asking import PlaceOptions
from polarcheck.cli.clock_asking import ClockAheadOption, ZoneOption, ahead_s, zone_of
from polarcheck.cli.command import command
from polarcheck.cli.output import JsonOption, warn
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import RigOption, found_rig
from polarcheck.cli.watch_lines import Lines
from polarcheck.cli.watch_loop import Watching
from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["watch_command"]


@command
def watch_command(
    *,
    folder: Annotated[Path, typer.Argument(help="Where the frames go.", metavar="FOLDER")],
    place: PlaceOptions,
    rig: RigOption = None,
    pole: Annotated[
        Literal["refracted", "true"], typer.Option(help="What the error refers to.")
    ] = "refracted",
    goal: Annotated[
        float | None,
        typer.Option(
            help="Total error that is near enough; else the rig file's, else 0.5 or what a hand can do.",
            metavar="ARCMIN",
            min=0.01,
            max=600,
        ),
    ] = None,
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    clock_ahead: ClockAheadOption = None,
    zone: ZoneOption = None,
    until_done: Annotated[
        bool,
        typer.Option("--until-done", help="Leave when the advice is to stop; else the interrupt key leaves."),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Follow the folder through the evening: frames as they come, and what to do now.

    Takes each solved frame once it is whole, measures the sweep, tells which knob to turn how far, follows the axis
    after each turn, and says when to stop. What happens is kept in the frames' folder; started again, it goes on.

    Example: polarcheck watch frames/ --rig rig.toml
    """
    ahead = ahead_s(clock_ahead)
    if not folder.is_dir():
        raise InputError(
            f"there is no folder '{printable(folder)}'; make it, or name the one that frames go to"
        )
    rig_file = found_rig(rig, [folder])
    clock = frames.Clock(ahead, zone_of(zone, rig_file))
    wishes = watch.Wishes(rig_file, place.conditions(rig_file), pole, goal)
    book = night.NightBook(folder, rig_file)
    account, notices = watch.night_so_far(night.NightLog(folder), datetime.now(UTC).isoformat()[:19])
    warn(notices)
    watching = Watching(
        folder=folder,
        arrivals=watch.Arrivals(folder, recursive=recursive, clock=clock, now=time.monotonic),
        evening=watch.Evening(book, wishes, account),
        book=book,
        output=Lines(as_json),
        until_done=until_done,
    )
    with watch.WakeUp(folder, recursive=recursive, ignored=night.NIGHT_FILE) as wake_up:
        watching.run(wake_up, progress_line())
