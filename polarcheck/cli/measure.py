"""``polarcheck measure``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import alignment, measurement, night, report
from polarcheck.cli.alignment_asking import PlaceOptions
from polarcheck.cli.clock_asking import ClockAheadOption, ZoneOption, ahead_s, zone_of
from polarcheck.cli.command import command
from polarcheck.cli.follow_on import correct_on, correct_tonight
from polarcheck.cli.going_on import start_from
from polarcheck.cli.night_asking import NoNightOption, book_in, refusal_kept
from polarcheck.cli.output import OutputOptions, show, warn, writable, write_result
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import RigOption, found_rig
from polarcheck.cli.solver_asking import SolveOption, solve_first
from polarcheck.cli.target_asking import AimOption, SpanOptions
from polarcheck.cli.turned_asking import TurnedOption, turns_said
from polarcheck.constants import FRAME_NOISE_PX
from polarcheck.errors import InputError

if TYPE_CHECKING:
    from polarcheck.errors import Notice
    from polarcheck.rig import Rig

__all__ = ["measure_command"]


@command
def measure_command(
    *,
    frames: Annotated[
        list[Path],
        typer.Argument(help="Folders, files or patterns of solved frames.", metavar="FOLDER|FILES..."),
    ],
    place: PlaceOptions,
    rig: RigOption = None,
    pole: AimOption = "refracted",
    aiming: SpanOptions,
    clock_ahead: ClockAheadOption = None,
    zone: ZoneOption = None,
    noise_px: Annotated[
        float, typer.Option(help="Pointing noise of a frame, where residuals cannot tell.", metavar="PX")
    ] = FRAME_NOISE_PX,
    guiding: Annotated[
        Literal["on", "off"] | None,
        typer.Option(help="Whether a guider held a star in these frames; else they must tell."),
    ] = None,
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    solve: SolveOption = False,
    stars: Annotated[
        bool, typer.Option("--stars", help="Look at the stars; leave out frames that moved while exposed.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(help="Keep the result for later commands.", metavar="FILE.json")
    ] = None,
    after: Annotated[
        Path | None,
        typer.Option(
            help="A result of earlier tonight, or the folder of its night's file: its history of knobs and turns goes on.",
            metavar="RESULT.json",
        ),
    ] = None,
    turned: TurnedOption = None,
    no_night: NoNightOption = False,
    output: OutputOptions,
) -> None:
    """Measure the polar axis from solved frames.

    Take three or more frames. Between them turn the mount in right ascension only (declination clamped, nothing else
    touched), 30 deg or more in all, and plate-solve them.

    Example: polarcheck measure frames/ --site 47.3,11.2 --plot axis.png
    """
    ahead = ahead_s(clock_ahead)
    kind, aim = aiming.aim(pole, zone=zone)
    said = turns_said(turned)
    if after is None and said is not None:
        raise typer.BadParameter("serves only with --after RESULT.json", param_hint="--turned")
    start = None if after is None else start_from(after)
    writable("--out", out, [".json"], force=output.force)
    output.check()
    rig_file = _rig_file(rig, frames, is_needed=rig is not None or place.site is None or solve)
    reading = measurement.Reading(ahead, recursive, stars, zone_of(zone, rig_file))
    solve_first(solve, frames, rig_file, reading, recursive=recursive)
    book = book_in(night.common_folder(frames), rig_file, no_night)
    with refusal_kept(book, frames):
        result = measurement.measure(
            frames,
            pole=kind or "refracted",
            conditions=place.conditions(rig_file, noise_px, None if guiding is None else guiding == "on"),
            reading=reading,
            progress=progress_line(),
        )
    turns = None
    if start is not None:
        turns = None if said is None else start.turns(said, rig_file)
        result = result.continuing(start.before, turns)
    if aim is not None:
        result = result.aimed_at(aim(result.sky), aim.notices())
    folder = out.parent if out else None
    if out is not None:
        write_result(out, alignment.kept_text(report.measurement_object(result, folder)), force=output.force)
    output.draw(lambda path: report.save_measurement_picture(result, path))
    unkept: tuple[Notice, ...] = ()
    if book is not None:
        turned_now = start.turned(book, turns, as_told=said == "told") if start else ()
        unkept = book.write(*turned_now, book.measured(result, frames))
    then = correct_on(out, rig) or (correct_tonight(book, rig) if book and not unkept else None)
    show(
        output.as_json,
        lambda: report.measurement_object(result, folder),
        lambda: report.measurement_text(result, then),
        result.notices,
    )
    warn(unkept)


def _rig_file(named: Path | None, frames: list[Path], *, is_needed: bool) -> Rig | None:
    """The rig file; one that nobody named and nobody needs may be at fault."""
    try:
        return found_rig(named, frames)
    except InputError:
        if is_needed:
            raise
        return None
