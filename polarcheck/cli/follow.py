"""``polarcheck follow``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck.cli.shared import ending, found_rig, pair, parsed, progress_line, writable, write_text

if TYPE_CHECKING:
    from polarcheck.knobs import ClampShift
    from polarcheck.rig import Rig

__all__ = ["follow_command"]


def follow_command(
    result: Annotated[
        Path, typer.Argument(help="Kept by measure --out or an earlier follow --out.", metavar="RESULT.json")
    ],
    frames: Annotated[list[Path], typer.Argument(help="Solved frames taken since.", metavar="FRAME...")],
    tracking: Annotated[
        Literal["on", "off"] | None, typer.Option(help="Whether the mount tracked since then; shows a slip.")
    ] = None,
    turned: Annotated[
        str | None,
        typer.Option(help="Turns given to each knob since then, net, clockwise positive.", metavar="AZ,ALT"),
    ] = None,
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
    rig: Annotated[
        Path | None, typer.Option(help="Rig file: what these turns should have done.", metavar="FILE.toml")
    ] = None,
    clock_ahead: Annotated[
        str | None, typer.Option(help="By how much the headers' clock was ahead of UTC.", metavar="DURATION")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Keep the result; it goes on with the night.", metavar="FILE.json")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
) -> None:
    """See where the axis went after the knobs were turned, from one frame.

    Right ascension and declination stay clamped; only the knobs move.

    Example: polarcheck follow first.json after_turn.fits --turned -0.5,0.25 --out second.json
    """
    from polarcheck.times import parse_duration

    turns = None if turned is None else parsed("--turned", turned, pair)
    ahead = 0.0 if clock_ahead is None else parsed("--clock-ahead", clock_ahead, parse_duration)
    with ending():
        writable("--out", out, [".json"])
        from polarcheck.alignment import kept_text, read_alignment
        from polarcheck.followup import follow_frames
        from polarcheck.frames import read_frames
        from polarcheck.knobs import expected_move
        from polarcheck.report import followed_object, followed_text, json_text, notice_text
        from polarcheck.rig import rig_notices

        before = read_alignment(result)
        rig_file = found_rig(rig, [result, *frames])
        expected = expected_move(before, rig_file, turns, loose)
        frame_set = read_frames(frames, clock_ahead_s=ahead, progress=progress_line())
        followed = follow_frames(
            before, frame_set, tracking=tracking, turned=turns, expected_arcmin=expected, loose=loose
        )
        shown = followed_object(followed, out.parent if out else None)
        if out is not None:
            write_text(out, kept_text(shown))
        if keep_shift:
            _keep(rig_file, followed.clamp_shift)
        typer.echo(json_text(shown) if as_json else followed_text(followed))
        sensor = before.sensor
        off = rig_notices(
            rig_file,
            before.site,
            sensor.pixel_scale_arcsec if sensor else None,
            (sensor.width_px, sensor.height_px) if sensor else None,
        )
        for notice in (*off, *followed.notices):
            typer.echo(notice_text(notice), err=True)


def _keep(rig: Rig | None, shift: ClampShift | None) -> None:
    """Write the shift by tightening into the rig file."""
    from polarcheck.errors import InputError
    from polarcheck.knobs import rig_text_with_shift

    if shift is None:
        raise InputError(
            "no shift by tightening was seen: follow a --loose result with a frame taken after tightening, and give "
            "--turned 0,0"
        )
    if rig is None:
        raise InputError("--keep-shift needs a rig file to write to: name it with --rig")
    write_text(rig.path, rig_text_with_shift(rig, shift))
