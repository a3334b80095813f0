"""``polarcheck exposure``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck.cli.asking import (
    AlignmentArgument,
    AtOption,
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
    duration_asked,
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
    size_asked,
    tolerance_asked,
)
from polarcheck.cli.shared import ending, writable

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.outlook import Exposure, Scene
    from polarcheck.sky import Target

__all__ = ["exposure_command"]


def exposure_command(
    alignment: AlignmentArgument = None,
    error: ErrorOption = None,
    site: SiteOption = None,
    rig: RigOption = None,
    pole: PoleOption = None,
    pressure: PressureOption = None,
    temperature: TemperatureOption = None,
    target: TargetOption = None,
    at: AtOption = None,
    guided: GuidedOption = False,
    focal_length: FocalLengthOption = None,
    pixel_size: PixelSizeOption = None,
    sensor: SensorOption = None,
    camera_angle: CameraAngleOption = 0.0,
    guide_offset: GuideOffsetOption = None,
    tolerance: ToleranceOption = "1px",
    fwhm: FwhmOption = None,
    rate: RateOption = "sidereal",
    want: Annotated[
        str | None,
        typer.Option(help="An exposure you want: how near the pole must the axis be?", metavar="DURATION"),
    ] = None,
    targets: Annotated[
        Path | None,
        typer.Option(help="Instead of --target: a text file, one target a line.", metavar="FILE"),
    ] = None,
    look: Annotated[
        Path | None,
        typer.Option(
            help="Draw what stars will look like (needs --fwhm): FILE.png or FILE.svg.", metavar="FILE"
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Tell how long one exposure of a target may be before stars move more than you tolerate.

    Example: polarcheck exposure result.json --rig rig.toml --target M31 --at 2026-11-14T20:00:00 --guided
    """
    moment = moment_asked(at)
    place = target_asked(target) if targets is None else None
    if targets is not None and target is not None:
        raise typer.BadParameter("give either --target or --targets", param_hint="--targets")
    if look is not None and fwhm is None:
        raise typer.BadParameter("needs --fwhm, such as 3.2arcsec", param_hint="--look")
    want_s = None if want is None else duration_asked("--want", want, 6 * 3600.0)
    with ending():
        writable("--look", look, [".png", ".svg"])
        from polarcheck.outlook import exposure_limit, required_error, set_scene
        from polarcheck.report import Wanted, exposure_object, exposure_text, json_text, notice_text

        asked = alignment_asked(alignment, error, site, rig, pole, pressure, temperature)
        optics = optics_asked(asked.rig, focal_length, pixel_size, sensor, camera_angle, guide_offset)
        allowed, notices = tolerance_asked(tolerance, fwhm, optics, alignment)
        notices = (*asked.notices, *notices)
        found = asked.alignment
        if place is None:
            from polarcheck.outlook import exposures_of
            from polarcheck.report import exposure_list_object, exposure_list_text
            from polarcheck.sky import read_targets

            assert targets is not None
            rows = exposures_of(
                read_targets(targets), found, moment, optics, allowed, guided=guided, rate=rate, want_s=want_s
            )
            typer.echo(
                json_text(exposure_list_object(rows, found, moment, guided, allowed, notices))
                if as_json
                else exposure_list_text(rows, found, moment, guided, allowed)
            )
            for notice in notices:
                typer.echo(notice_text(notice), err=True)
            return
        scene = set_scene(
            found.site, found.sky.air, found.pole, place.place, moment, optics, guided=guided, rate=rate
        )
        exposure = exposure_limit(scene, found.axis, found.pole, allowed, found.covariance)
        wanted = None
        if want_s is not None:
            wanted = Wanted(want_s, required_error(scene, found.pole, allowed, want_s))
        if look is not None:
            assert fwhm is not None
            _draw_look(look, scene, found, place, exposure, want_s, size_asked(fwhm, optics, alignment))
        typer.echo(
            json_text(exposure_object(exposure, found, place, moment, wanted, notices))
            if as_json
            else exposure_text(exposure, found, place, moment, optics, wanted)
        )
        for notice in notices:
            typer.echo(notice_text(notice), err=True)


def _draw_look(
    path: Path,
    scene: Scene,
    found: Alignment,
    target: Target,
    exposure: Exposure,
    want_s: float | None,
    fwhm_arcsec: float,
) -> None:
    """Draw stars at half, once and twice the longest exposure, and at the wanted one."""
    from polarcheck.outlook import star_looks
    from polarcheck.report import save_look_picture

    longest = exposure.limit_s or exposure.available_s
    lengths = {min(factor * longest, exposure.available_s) for factor in (0.5, 1.0, 2.0)}
    if want_s is not None:
        lengths.add(min(want_s, exposure.available_s))
    looks = star_looks(scene, found.axis, sorted(lengths), fwhm_arcsec)
    fwhm_px = fwhm_arcsec / scene.optics.pixel_scale_arcsec
    save_look_picture(looks, target, fwhm_px, scene.guided, path)
