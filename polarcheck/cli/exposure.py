"""``polarcheck exposure``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import outlook, report, sky
from polarcheck.cli.alignment_asking import AlignmentOptions, PoleOption
from polarcheck.cli.command import command
from polarcheck.cli.optics_asking import MotionOptions, OpticsOptions, RateOption
from polarcheck.cli.output import JsonOption, show, writable
from polarcheck.cli.progress import progress_line
from polarcheck.cli.target_asking import TargetOptions, duration_asked

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment

__all__ = ["exposure_command"]


@command
def exposure_command(
    *,
    alignment: AlignmentOptions,
    pole: PoleOption = None,
    target: TargetOptions,
    motion: MotionOptions,
    optics: OpticsOptions,
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
    moment = target.moment()
    place = target.place() if targets is None else None
    if targets is not None and target.target is not None:
        raise typer.BadParameter("give either --target or --targets", param_hint="--targets")
    if look is not None and motion.fwhm is None:
        raise typer.BadParameter("needs --fwhm, such as 3.2arcsec", param_hint="--look")
    want_s = None if want is None else duration_asked("--want", want, 6 * 3600.0)
    writable("--look", look, [".png", ".svg"])
    listed, unknown = sky.read_targets(targets) if targets is not None else ((), ())
    asked = alignment.read(pole)
    seen = optics.read(asked.rig)
    allowed, notices = motion.allowed(seen, alignment.paths)
    notices = (*asked.notices, *notices, *unknown)
    found = asked.alignment
    if place is None:
        rows = outlook.exposures_of(
            listed,
            found,
            moment,
            seen,
            allowed,
            guided=motion.guided,
            rate=rate,
            want_s=want_s,
            progress=progress_line(few=5, doing="target"),
        )
        show(
            as_json,
            lambda: report.exposure_list_object(rows, found, moment, motion.guided, allowed, notices),
            lambda: report.exposure_list_text(rows, found, moment, motion.guided, allowed),
            notices,
        )
        return
    scene = outlook.set_scene(
        found.site, found.sky.air, found.pole, place.place, moment, seen, guided=motion.guided, rate=rate
    )
    exposure = outlook.exposure_limit(scene, found.axis, found.pole, allowed, found.covariance)
    wanted = None
    if want_s is not None:
        wanted = report.Wanted(want_s, outlook.required_error(scene, found.pole, allowed, want_s))
    if look is not None:
        fwhm = motion.size(seen, alignment.paths)
        assert fwhm is not None
        _draw_look(look, scene, found, place, exposure, want_s, fwhm)
    show(
        as_json,
        lambda: report.exposure_object(exposure, found, place, moment, wanted, notices),
        lambda: report.exposure_text(exposure, found, place, moment, seen, wanted),
        notices,
    )


def _draw_look(
    path: Path,
    scene: outlook.Scene,
    found: Alignment,
    target: sky.Target,
    exposure: outlook.Exposure,
    want_s: float | None,
    fwhm_arcsec: float,
) -> None:
    """Draw stars at half, once and twice the longest exposure, and at the wanted one."""
    longest = exposure.limit_s or exposure.available_s
    lengths = {min(factor * longest, exposure.available_s) for factor in (0.5, 1.0, 2.0)}
    if want_s is not None:
        lengths.add(min(want_s, exposure.available_s))
    looks = outlook.star_looks(scene, found.axis, sorted(lengths), fwhm_arcsec)
    fwhm_px = fwhm_arcsec / scene.optics.pixel_scale_arcsec
    report.save_look_picture(looks, target, fwhm_px, scene.guided, path)
