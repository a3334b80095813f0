"""``polarcheck follow``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import alignment, followup, frames, knobs, measurement, report
from polarcheck.cli.clock_asking import ClockAheadOption, ZoneOption, ahead_s, zone_of
from polarcheck.cli.command import command
from polarcheck.cli.follow_on import correct_on, correct_tonight
from polarcheck.cli.going_on import going_on_from
from polarcheck.cli.night_asking import NoNightOption, book_in, refusal_kept
from polarcheck.cli.output import ForceOption, JsonOption, show, warn, writable, write_result
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import RigOption, found_rig, rig_contradictions
from polarcheck.cli.solver_asking import SolveOption, solve_first
from polarcheck.cli.turned_asking import TurnedOption, turns_said
from polarcheck.errors import InputError
from polarcheck.writing import rewrite_text

if TYPE_CHECKING:
    from polarcheck.errors import Notice
    from polarcheck.rig import Rig

__all__ = ["follow_command"]


@command
def follow_command(
    *,
    paths: Annotated[
        list[Path],
        typer.Argument(
            help="A result kept by measure --out or an earlier follow --out, or a night's file, and solved frames taken "
            "since; frames alone go on with the night of their folder, else of this one.",
            metavar="[RESULT.json] FRAME...",
        ),
    ],
    tracking: Annotated[
        Literal["on", "off"] | None, typer.Option(help="Whether the mount tracked since then; shows a slip.")
    ] = None,
    turned: TurnedOption = None,
    loose: Annotated[
        bool,
        typer.Option(
            "--loose", help="The base's clamps or bolts were loose; tightening will shift the axis."
        ),
    ] = False,
    keep_shift: Annotated[
        bool,
        typer.Option(
            "--keep-shift",
            help="After a --loose result: write the shift that tightening made into the rig file.",
        ),
    ] = False,
    no_night: NoNightOption = False,
    rig: RigOption = None,
    clock_ahead: ClockAheadOption = None,
    zone: ZoneOption = None,
    solve: SolveOption = False,
    out: Annotated[
        Path | None, typer.Option(help="Keep the result; it goes on with the night.", metavar="FILE.json")
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """See where the axis went after the knobs were turned, from one frame or several.

    Declination and camera stay clamped; in right ascension the mount may turn between frames.

    Without RESULT.json the knobs count as turned as correct told, unless --turned says otherwise.

    Example: polarcheck follow after_turn.fits
    Example: polarcheck follow first.json after_turn.fits --turned -0.5,0.25 --out second.json
    """
    said = turns_said(turned)
    ahead = ahead_s(clock_ahead)
    writable("--out", out, [".json"], force=force)
    start = going_on_from(paths)
    before, offered = start.before, start.frames
    rig_file = found_rig(rig, [start.place, *offered])
    turns = start.turns(said, rig_file)
    expected = knobs.expected_move(before, rig_file, turns, loose)
    book = book_in(start.tonight.folder if start.tonight else None, rig_file, no_night)
    reading = measurement.Reading(ahead, zone=zone_of(zone, rig_file))
    solve_first(solve, offered, rig_file, reading)
    frame_set = frames.read_frames(offered, clock_ahead_s=ahead, zone=reading.zone, progress=progress_line())
    with refusal_kept(book, offered):
        followed = followup.follow_frames(
            before, frame_set, tracking=tracking, turned=turns, expected_arcmin=expected, loose=loose
        )
    shown = report.followed_object(followed, out.parent if out else None)
    if out is not None:
        write_result(out, alignment.kept_text(shown), force=force)
    if keep_shift:
        _keep(rig_file, followed.clamp_shift)
    unkept: tuple[Notice, ...] = ()
    if book is not None:
        turned_now = start.turned(book, turns, as_told=said in (None, "told"))
        unkept = book.write(*turned_now, book.followed(followed, offered))
    then = correct_on(out, rig) or (correct_tonight(book, rig) if book and not unkept else None)
    show(
        as_json,
        lambda: shown,
        lambda: report.followed_text(followed, then, rig_file),
        (*start.notices, *rig_contradictions(rig_file, before), *followed.notices),
    )
    warn(unkept)


def _keep(rig: Rig | None, shift: knobs.ClampShift | None) -> None:
    """Write the shift by tightening into the rig file."""
    if shift is None:
        raise InputError(
            "no shift by tightening was seen: follow a --loose result with a frame taken after tightening, and give "
            "--turned 0,0"
        )
    if rig is None:
        raise InputError("--keep-shift needs a rig file to write to", ["rig"])
    rewrite_text(rig.path, knobs.rig_text_with_shift(rig, shift))
