"""``polarcheck drift``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from polarcheck.cli.asking import (
    AlignmentArgument,
    Asked,
    AtOption,
    ErrorOption,
    ForOption,
    JsonOption,
    PoleOption,
    PressureOption,
    RateOption,
    RigOption,
    SiteOption,
    TargetOption,
    TemperatureOption,
    alignment_asked,
    duration_asked,
    moment_asked,
    target_asked,
)
from polarcheck.cli.shared import ending, progress_line, writable

__all__ = ["drift_command"]

_LONGEST_S = 86400.0


def drift_command(
    alignment: AlignmentArgument = None,
    error: ErrorOption = None,
    site: SiteOption = None,
    rig: RigOption = None,
    pole: PoleOption = None,
    pressure: PressureOption = None,
    temperature: TemperatureOption = None,
    target: TargetOption = None,
    at: AtOption = None,
    duration: ForOption = None,
    rate: RateOption = "sidereal",
    plot: Annotated[
        Path | None, typer.Option(help="Save a picture: FILE.png or FILE.svg.", metavar="FILE")
    ] = None,
    check: Annotated[
        Path | None,
        typer.Option(
            help="Compare with a sequence tracked unguided: a folder of frames, at least one solved. Needs no --target.",
            metavar="SEQUENCE",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Tell how a target drifts, and how its field rotates, while the mount tracks unguided.

    Example: polarcheck drift result.json --target M31 --at 2026-11-14T20:00:00 --for 10min
    """
    if check is not None:
        with ending():
            asked = alignment_asked(alignment, error, site, rig, pole, pressure, temperature)
            _tell_check(check, asked, rate, as_json)
        return
    place, moment = target_asked(target), moment_asked(at)
    seconds = duration_asked("--for", duration, _LONGEST_S)
    with ending():
        writable("--plot", plot, [".png", ".svg"])
        asked = alignment_asked(alignment, error, site, rig, pole, pressure, temperature)
        from polarcheck.outlook import moments_over, predict_drift
        from polarcheck.report import drift_object, drift_text, json_text, notice_text

        found = asked.alignment
        drift = predict_drift(
            found.axis,
            found.pole,
            found.site,
            found.sky.air,
            place.place,
            moment,
            moments_over(seconds),
            rate,
            found.covariance,
        )
        if plot is not None:
            from polarcheck.report import save_drift_picture

            save_drift_picture(drift, place, plot)
        typer.echo(
            json_text(drift_object(drift, found, place, moment, rate, asked.notices))
            if as_json
            else drift_text(drift, found, place, moment, rate)
        )
        for notice in asked.notices:
            typer.echo(notice_text(notice), err=True)


def _tell_check(
    sequence: Path, asked: Asked, rate: Literal["sidereal", "king", "solar", "lunar"], as_json: bool
) -> None:
    from polarcheck.frames import read_frames
    from polarcheck.outlook import check_drift
    from polarcheck.report import drift_check_object, drift_check_text, json_text, notice_text

    found = asked.alignment
    result = check_drift(found, read_frames([sequence], progress=progress_line()), rate)
    notices = (*asked.notices, *result.notices)
    typer.echo(
        json_text(drift_check_object(result, found, notices)) if as_json else drift_check_text(result, found)
    )
    for notice in notices:
        typer.echo(notice_text(notice), err=True)
