"""``polarcheck report``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck import digest, measurement, report, sky, times
from polarcheck.cli.alignment_asking import PlaceOptions
from polarcheck.cli.clock_asking import ClockAheadOption, ZoneOption, ahead_s, zone_of
from polarcheck.cli.command import command
from polarcheck.cli.output import ForceOption, JsonOption, show, writable
from polarcheck.cli.parsing import parsed
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import RigOption, found_rig, rig_contradictions
from polarcheck.writing import write_text

__all__ = ["report_command"]


@command
def report_command(
    *,
    folder: Annotated[Path, typer.Argument(help="Of the night's frames.", metavar="[FOLDER]")] = Path(),
    out: Annotated[Path | None, typer.Option(help="The page.", metavar="FILE.html")] = None,
    target: Annotated[
        list[str] | None,
        typer.Option(
            help="Tell drift and exposure of this too, beside the targets that frames show; may be repeated.",
            metavar="RA,DEC|NAME",
        ),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(help="When --target is imaged, UTC; else as of the last finding.", metavar="TIME"),
    ] = None,
    place: PlaceOptions,
    rig: RigOption = None,
    clock_ahead: ClockAheadOption = None,
    zone: ZoneOption = None,
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Make one page of a night, to keep and to show.

    From the night's file where the folder has one, else from its solved frames, measured now. The page holds all it needs:
    answer, path of the axis, frames, targets, checklist, methods.

    Example: polarcheck report frames/ --target M31 --out night.html
    """
    if out is None and not as_json:
        raise typer.BadParameter("give the page a name, such as night.html", param_hint="--out")
    targets = tuple(parsed("--target", text, sky.find_target) for text in target or [])
    moment = None if at is None else parsed("--at", at, times.utc_from_iso)
    writable("--out", out, [".html", ".htm"], force=force)
    rig_file = found_rig(rig, [folder])
    night = digest.digest_night(
        folder,
        rig_file,
        digest.DigestWish(
            targets,
            moment,
            measurement.Reading(ahead_s(clock_ahead), recursive, zone=zone_of(zone, rig_file)),
            place.conditions(rig_file),
        ),
        progress_line,
    )
    off = rig_contradictions(rig_file, night.last.alignment)
    if out is not None:
        write_text(out, report.night_page(night))
    show(
        as_json,
        lambda: report.report_object(night),
        lambda: report.report_text(night, out),
        (*night.notices, *off),
    )
