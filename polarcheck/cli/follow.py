"""``polarcheck follow``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import alignment, followup, frames, knobs, measurement, report
from polarcheck.cli.clock_asking import ClockAheadOption, ZoneOption, ahead_s, zone_of
from polarcheck.cli.command import command
from polarcheck.cli.follow_on import correct_on
from polarcheck.cli.output import ForceOption, JsonOption, show, writable
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import RigOption, found_rig, rig_contradictions
from polarcheck.cli.solver_asking import SolveOption, solve_first
from polarcheck.cli.turned_asking import TurnedOption, turns_made, turns_said
from polarcheck.errors import InputError
from polarcheck.writing import rewrite_text, write_text

if TYPE_CHECKING:
    from polarcheck.rig import Rig

__all__ = ["follow_command"]


@command
def follow_command(
    *,
    result: Annotated[
        Path, typer.Argument(help="Kept by measure --out or an earlier follow --out.", metavar="RESULT.json")
    ],
    paths: Annotated[list[Path], typer.Argument(help="Solved frames taken since.", metavar="FRAME...")],
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

    Example: polarcheck follow first.json after_turn.fits --turned -0.5,0.25 --out second.json
    """
    said = turns_said(turned)
    ahead = ahead_s(clock_ahead)
    writable("--out", out, [".json"], force=force)
    before = alignment.read_alignment(result)
    rig_file = found_rig(rig, [result, *paths])
    turns = turns_made(said, before, rig_file)
    expected = knobs.expected_move(before, rig_file, turns, loose)
    reading = measurement.Reading(ahead, zone=zone_of(zone, rig_file))
    solve_first(solve, paths, rig_file, reading)
    frame_set = frames.read_frames(paths, clock_ahead_s=ahead, zone=reading.zone, progress=progress_line())
    followed = followup.follow_frames(
        before, frame_set, tracking=tracking, turned=turns, expected_arcmin=expected, loose=loose
    )
    shown = report.followed_object(followed, out.parent if out else None)
    if out is not None:
        write_text(out, alignment.kept_text(shown))
    if keep_shift:
        _keep(rig_file, followed.clamp_shift)
    notices = (*rig_contradictions(rig_file, before), *followed.notices)
    show(
        as_json,
        lambda: shown,
        lambda: report.followed_text(followed, correct_on(out, rig), rig_file),
        notices,
    )


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
