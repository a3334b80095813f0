"""``polarcheck timeline``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck.cli.asking import (
    AlignmentArgument,
    ErrorOption,
    JsonOption,
    PoleOption,
    PressureOption,
    RateOption,
    RigOption,
    SiteOption,
    TargetOption,
    TemperatureOption,
    alignment_asked,
    moment_asked,
    target_asked,
)
from polarcheck.cli.optics_asking import (
    CameraAngleOption,
    FocalLengthOption,
    FwhmOption,
    GuidedOption,
    GuideOffsetOption,
    PixelSizeOption,
    SensorOption,
    ToleranceOption,
    optics_asked,
    tolerance_asked,
)
from polarcheck.cli.shared import ending, writable

__all__ = ["timeline_command"]


def timeline_command(
    alignment: AlignmentArgument = None,
    error: ErrorOption = None,
    site: SiteOption = None,
    rig: RigOption = None,
    pole: PoleOption = None,
    pressure: PressureOption = None,
    temperature: TemperatureOption = None,
    target: TargetOption = None,
    at: Annotated[
        str | None, typer.Option("--at", help="Any moment of the night, UTC.", metavar="TIME")
    ] = None,
    guided: GuidedOption = False,
    focal_length: FocalLengthOption = None,
    pixel_size: PixelSizeOption = None,
    sensor: SensorOption = None,
    camera_angle: CameraAngleOption = 0.0,
    guide_offset: GuideOffsetOption = None,
    tolerance: ToleranceOption = "1px",
    fwhm: FwhmOption = None,
    rate: RateOption = "sidereal",
    plot: Annotated[
        Path | None, typer.Option(help="Save a picture: FILE.png or FILE.svg.", metavar="FILE")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Follow a target from dusk to dawn: altitude, Moon, and the longest exposure at each time.

    Example: polarcheck timeline result.json --rig rig.toml --target M31 --at 2026-11-14T22:00:00
    """
    place, moment = target_asked(target), moment_asked(at)
    with ending():
        writable("--plot", plot, [".png", ".svg"])
        from polarcheck.outlook import night_timeline
        from polarcheck.report import json_text, notice_text, timeline_object, timeline_text

        asked = alignment_asked(alignment, error, site, rig, pole, pressure, temperature)
        optics = optics_asked(asked.rig, focal_length, pixel_size, sensor, camera_angle, guide_offset)
        allowed, notices = tolerance_asked(tolerance, fwhm, optics, alignment)
        found, notices = asked.alignment, (*asked.notices, *notices)
        line = night_timeline(found, place.place, moment, optics, allowed, guided=guided, rate=rate)
        if plot is not None:
            from polarcheck.report import save_timeline_picture

            save_timeline_picture(line, place, plot)
        typer.echo(
            json_text(timeline_object(line, found, place, notices))
            if as_json
            else timeline_text(line, found, place)
        )
        for notice in notices:
            typer.echo(notice_text(notice), err=True)
