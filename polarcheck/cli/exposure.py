"""``polarcheck exposure``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck import outlook, report, sky
from polarcheck.cli.alignment_asking import AlignmentOptions, PoleOption
from polarcheck.cli.command import command
from polarcheck.cli.optics_asking import OutlookOptions, RateOption
from polarcheck.cli.output import ForceOption, JsonOption, show, writable
from polarcheck.cli.progress import progress_line
from polarcheck.cli.target_asking import TargetOptions, duration_asked

__all__ = ["exposure_command"]


@command
def exposure_command(
    *,
    alignment: AlignmentOptions,
    pole: PoleOption = None,
    target: TargetOptions,
    seen: OutlookOptions,
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
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Tell how long one exposure of a target may be before stars move more than you tolerate.

    Example: polarcheck exposure result.json --rig rig.toml --target M31 --at 2026-11-14T20:00:00 --guided
    """
    alignment.check()
    target.check_moment()
    place = target.place() if targets is None else None
    if targets is not None and target.target is not None:
        raise typer.BadParameter("give either --target or --targets", param_hint="--targets")
    if look is not None and seen.motion.fwhm is None:
        raise typer.BadParameter("needs --fwhm, such as 3.2arcsec", param_hint="--look")
    want_s = None if want is None else duration_asked("--want", want, outlook.LONGEST_S)
    writable("--look", look, [".png", ".svg"], force=force)
    listed, unknown = sky.read_targets(targets) if targets is not None else ((), ())
    asked = alignment.read(pole)
    moment = target.moment(asked)
    ahead, notices = seen.read(asked, alignment.paths, rate)
    notices = (*notices, *unknown)
    found = ahead.alignment
    if place is None:
        rows = ahead.exposures(listed, moment, want_s, progress_line("target"))
        show(
            as_json,
            lambda: report.exposure_list_object(
                rows, found, moment, ahead.guided, ahead.tolerance_arcsec, notices
            ),
            lambda: report.exposure_list_text(rows, found, moment, ahead.guided, ahead.tolerance_arcsec),
            notices,
        )
        return
    exposure = ahead.exposure(place.place, moment)
    wanted = None if want_s is None else outlook.Wanted(want_s, ahead.required(place.place, moment, want_s))
    if look is not None:
        fwhm = seen.motion.size(ahead.optics, alignment.paths)
        assert fwhm is not None
        looks = ahead.look(place.place, moment, fwhm, want_s)
        report.save_look_picture(looks, place, fwhm / ahead.optics.pixel_scale_arcsec, ahead.guided, look)
    show(
        as_json,
        lambda: report.exposure_object(exposure, found, place, moment, wanted, notices),
        lambda: report.exposure_text(exposure, found, place, moment, ahead.optics, wanted),
        notices,
    )
