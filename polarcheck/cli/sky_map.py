"""``polarcheck map``."""

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
    RigOption,
    SiteOption,
    TemperatureOption,
    alignment_asked,
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

__all__ = ["map_command"]


def map_command(
    alignment: AlignmentArgument = None,
    error: ErrorOption = None,
    site: SiteOption = None,
    rig: RigOption = None,
    pole: PoleOption = None,
    pressure: PressureOption = None,
    temperature: TemperatureOption = None,
    guided: GuidedOption = False,
    focal_length: FocalLengthOption = None,
    pixel_size: PixelSizeOption = None,
    sensor: SensorOption = None,
    camera_angle: CameraAngleOption = 0.0,
    guide_offset: GuideOffsetOption = None,
    tolerance: ToleranceOption = "1px",
    fwhm: FwhmOption = None,
    plot: Annotated[
        Path | None, typer.Option(help="Save a picture: FILE.png or FILE.svg.", metavar="FILE")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Map the longest exposure over the sky, hour angle by declination.

    Example: polarcheck map result.json --rig rig.toml --guided --plot sky.png
    """
    with ending():
        writable("--plot", plot, [".png", ".svg"])
        from polarcheck.outlook import exposure_map
        from polarcheck.report import json_text, map_object, map_text, notice_text

        asked = alignment_asked(alignment, error, site, rig, pole, pressure, temperature)
        optics = optics_asked(asked.rig, focal_length, pixel_size, sensor, camera_angle, guide_offset)
        allowed, notices = tolerance_asked(tolerance, fwhm, optics, alignment)
        found, notices = asked.alignment, (*asked.notices, *notices)
        sky = exposure_map(found.axis, found.site, found.sky.air, optics, allowed, guided=guided)
        if plot is not None:
            from polarcheck.report import save_map_picture

            save_map_picture(sky, found, plot)
        typer.echo(json_text(map_object(sky, found, notices)) if as_json else map_text(sky, found))
        for notice in notices:
            typer.echo(notice_text(notice), err=True)
