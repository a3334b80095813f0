"""``polarcheck drift``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck import frames, outlook, report
from polarcheck.cli.alignment_asking import AlignmentOptions, Asked, PoleOption
from polarcheck.cli.belonging import book_of
from polarcheck.cli.command import command
from polarcheck.cli.night_asking import NoNightOption
from polarcheck.cli.optics_asking import RateOption
from polarcheck.cli.output import OutputOptions, show, warn
from polarcheck.cli.progress import progress_line
from polarcheck.cli.target_asking import SpanOptions

__all__ = ["drift_command"]


@command
def drift_command(
    *,
    alignment: AlignmentOptions,
    pole: PoleOption = None,
    span: SpanOptions,
    rate: RateOption = "sidereal",
    check: Annotated[
        Path | None,
        typer.Option(
            help="Compare with a sequence tracked unguided: a folder of frames, at least one solved. Needs no --target.",
            metavar="SEQUENCE",
        ),
    ] = None,
    no_night: NoNightOption = False,
    output: OutputOptions,
) -> None:
    """Tell how a target drifts, and how its field rotates, while the mount tracks unguided.

    Example: polarcheck drift result.json --target M31 --at 2026-11-14T20:00:00 --for 10min
    """
    output.check()
    if check is not None:
        asked = alignment.read(pole)
        result = _tell_check(check, asked, rate, output)
        book, _ = book_of(asked, alignment.paths or [], no_night)
        warn(book.write(book.checked([check], len(result.names), result.seen_arcsec_per_min)) if book else ())
        return
    place, seconds = span.place(), span.seconds()
    span.check_moment()
    asked = alignment.read(pole)
    moment = span.moment(asked)
    found = asked.alignment
    drift = outlook.predict_drift(found, place.place, moment, outlook.moments_over(seconds), rate)
    notices = (*asked.notices, *outlook.drift_notices(drift))
    output.draw(lambda path: report.save_drift_picture(drift, place, path))
    show(
        output.as_json,
        lambda: report.drift_object(drift, found, place, moment, rate, notices),
        lambda: report.drift_text(drift, found, place, moment, rate),
        notices,
    )


def _tell_check(
    sequence: Path, asked: Asked, rate: outlook.Rate, output: OutputOptions
) -> outlook.DriftCheck:
    found = asked.alignment
    offered = frames.read_frames([sequence], zone=asked.zone, progress=progress_line())
    result = outlook.check_drift(
        found, offered, rate, progress=progress_line("looking at the stars of frame")
    )
    notices = (*asked.notices, *result.notices)
    output.draw(lambda path: report.save_drift_check_picture(result, found, path))
    show(
        output.as_json,
        lambda: report.drift_check_object(result, found, notices),
        lambda: report.drift_check_text(result, found),
        notices,
    )
    return result
