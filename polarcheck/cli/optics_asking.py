"""The options for optics, guiding and tolerance, and what they stand for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck.cli.shared import pair, parsed, progress_line

if TYPE_CHECKING:
    from polarcheck.errors import Notice
    from polarcheck.outlook import Optics
    from polarcheck.rig import Rig

__all__ = [
    "CameraAngleOption",
    "FocalLengthOption",
    "FwhmOption",
    "GuideOffsetOption",
    "GuidedOption",
    "PixelSizeOption",
    "SensorOption",
    "ToleranceOption",
    "optics_asked",
    "size_asked",
    "tolerance_asked",
]

FocalLengthOption = Annotated[
    float | None, typer.Option("--focal-length", help="Else from the rig file.", metavar="MM")
]
PixelSizeOption = Annotated[
    float | None, typer.Option("--pixel-size", help="Else from the rig file.", metavar="UM")
]
SensorOption = Annotated[
    str | None,
    typer.Option("--sensor", help="Pixels, such as 1200x900; else from the rig file.", metavar="WxH"),
]
CameraAngleOption = Annotated[
    float,
    typer.Option("--camera-angle", help="Position angle of the sensor's +y side.", metavar="DEG"),
]
GuideOffsetOption = Annotated[
    str | None,
    typer.Option("--guide-offset", help="Guide star from the field's centre, degrees.", metavar="EAST,NORTH"),
]
GuidedOption = Annotated[
    bool, typer.Option("--guided/--unguided", help="Whether a guider holds a star still.")
]
ToleranceOption = Annotated[
    str,
    typer.Option(
        "--tolerance", help="Motion allowed: 1px, 2arcsec, or 1.2elongation with --fwhm.", metavar="MOTION"
    ),
]
FwhmOption = Annotated[
    str | None,
    typer.Option(
        "--fwhm",
        help="Size of a star that does not move: 3.2arcsec, 2px, or measured (on the frames given).",
        metavar="SIZE",
    ),
]

_SENSOR = re.compile(r"\s*(\d{1,6})\s*[x×X*]\s*(\d{1,6})\s*", re.ASCII)
_SHARE_SEEN = 0.2  # of the FWHM: a trail that lengthens a star by 1 %


def optics_asked(
    rig: Rig | None,
    focal_length: float | None,
    pixel_size: float | None,
    sensor: str | None,
    camera_angle: float,
    guide_offset: str | None,
) -> Optics:
    """Return the optics that rig file and options name."""
    for option, value, least, most in (
        ("--focal-length", focal_length, 1.0, 50_000.0),
        ("--pixel-size", pixel_size, 0.1, 100.0),
        ("--camera-angle", camera_angle, -360.0, 360.0),
    ):
        if value is not None and not least <= value <= most:
            raise typer.BadParameter(f"{value:g} is not within {least:g} to {most:g}", param_hint=option)
    size = None if sensor is None else _sensor(sensor)
    offset = None if guide_offset is None else parsed("--guide-offset", guide_offset, pair)
    from polarcheck.outlook import optics_from

    return optics_from(
        rig,
        focal_length_mm=focal_length,
        pixel_size_um=pixel_size,
        sensor_px=size,
        camera_angle_deg=camera_angle,
        guide_offset_deg=offset,
    )


def _sensor(text: str) -> tuple[int, int]:
    match = _SENSOR.fullmatch(text)
    if match is None or int(match[1]) < 1 or int(match[2]) < 1:
        from polarcheck.printable import printable

        raise typer.BadParameter(
            f"'{printable(text, 40)}' is no size such as 1200x900", param_hint="--sensor"
        )
    return int(match[1]), int(match[2])


def size_asked(fwhm: str, optics: Optics, frames: Sequence[Path] | None) -> float:
    """Return the size of a star that does not move, said or measured on the frames of the alignment. [arcsec]"""
    from polarcheck.outlook import parse_tolerance

    if fwhm.strip().lower() == "measured":
        return _measured(optics, frames or [])
    return parsed("--fwhm", fwhm, lambda text: parse_tolerance(text, optics.pixel_scale_arcsec))


def _measured(optics: Optics, frames: Sequence[Path]) -> float:
    from statistics import median

    from polarcheck.errors import InputError
    from polarcheck.stars import measure_stars

    if not frames or any(path.suffix.lower() == ".json" for path in frames):
        raise InputError(
            "--fwhm measured needs the frames themselves as the alignment, not a kept result or --error"
        )
    found = measure_stars(frames, progress=progress_line())
    sizes = [
        entry.fwhm_arcsec or entry.summary.fwhm_px * optics.pixel_scale_arcsec
        for entry in found
        if entry.summary and entry.summary.fwhm_px
    ]
    if not sizes:
        raise InputError("no star of these frames is bright enough to tell its size; state it with --fwhm")
    return median(sizes)


def tolerance_asked(
    tolerance: str, fwhm: str | None, optics: Optics, frames: Sequence[Path] | None = None
) -> tuple[float, tuple[Notice, ...]]:
    """Return the tolerated motion, and a warning where no star shows so little. [arcsec]"""
    from polarcheck.errors import Notice
    from polarcheck.outlook import parse_tolerance

    scale = optics.pixel_scale_arcsec
    size = None if fwhm is None else size_asked(fwhm, optics, frames)
    allowed = parsed("--tolerance", tolerance, lambda text: parse_tolerance(text, scale, size))
    if size is None or allowed >= _SHARE_SEEN * size:
        return allowed, ()
    said = (
        f"A tolerance of {allowed:.2g} arcsec is less than a fifth of the stars' size ({size:.2g} arcsec): the seeing "
        "hides such a motion, and a longer exposure would show no difference."
    )
    return allowed, (Notice("below-seeing", said),)
