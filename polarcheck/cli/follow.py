"""``polarcheck follow``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from polarcheck.cli.shared import ending, found_rig, pair, parsed, progress_line, writable, write_text

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
        from polarcheck.follow import follow_frames
        from polarcheck.frames import read_frames
        from polarcheck.knobs import expected_move
        from polarcheck.report.follow_text import followed_object, followed_text
        from polarcheck.report.json_text import json_text
        from polarcheck.report.text import notice_text
        from polarcheck.saved import read_alignment

        before = read_alignment(result)
        expected = expected_move(before, found_rig(rig, [result, *frames]), turns, loose)
        frame_set = read_frames(frames, clock_ahead_s=ahead, progress=progress_line())
        followed = follow_frames(
            before, frame_set, tracking=tracking, turned=turns, expected_arcmin=expected, loose=loose
        )
        shown = followed_object(followed, out.parent if out else None)
        if out is not None:
            write_text(out, json_text(shown))
        typer.echo(json_text(shown) if as_json else followed_text(followed))
        for notice in followed.notices:
            typer.echo(notice_text(notice), err=True)
