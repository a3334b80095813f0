"""``polarcheck correct``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck.cli.asking import (
    AimOption,
    AlignmentArgument,
    AtOption,
    ErrorOption,
    ForOption,
    JsonOption,
    PressureOption,
    RigOption,
    SiteOption,
    TargetOption,
    TemperatureOption,
    aim_asked,
    alignment_asked,
    duration_asked,
    moment_asked,
    target_asked,
)
from polarcheck.cli.optics_asking import (
    FwhmOption,
    GuidedOption,
    ToleranceOption,
    optics_asked,
    tolerance_asked,
)
from polarcheck.cli.shared import ending, say, writable, write_text

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.followup import SensorMark
    from polarcheck.knobs import Response
    from polarcheck.rig import Rig

__all__ = ["correct_command"]


def correct_command(
    alignment: AlignmentArgument = None,
    error: ErrorOption = None,
    site: SiteOption = None,
    rig: RigOption = None,
    pole: AimOption = None,
    pressure: PressureOption = None,
    temperature: TemperatureOption = None,
    target: TargetOption = None,
    at: AtOption = None,
    duration: ForOption = None,
    want: Annotated[
        str | None,
        typer.Option(
            help="The exposure of --target from --at on that must hold; tells when to stop turning.",
            metavar="DURATION",
        ),
    ] = None,
    guided: GuidedOption = False,
    tolerance: ToleranceOption = "1px",
    fwhm: FwhmOption = None,
    mark: Annotated[
        Path | None,
        typer.Option(help="Draw where a star of the last frame must go.", metavar="FILE.png|svg"),
    ] = None,
    keep_response: Annotated[
        bool,
        typer.Option("--keep-response", help="Write what the night taught of the knobs into the rig file."),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Tell which knob to turn, which way and how far, and whether it is worth it.

    Example: polarcheck correct result.json --rig rig.toml
    """
    wants = None
    if want is not None:
        wants = duration_asked("--want", want, 6 * 3600.0), target_asked(target).place, moment_asked(at)
    kind, aim = aim_asked(pole, target, at, duration, also_for=want)
    with ending():
        writable("--mark", mark, [".png", ".svg"])
        from polarcheck.followup import mark_on_sensor
        from polarcheck.knobs import correct, knob_specs, stated_shift
        from polarcheck.report import correction_object, correction_text, json_text, notice_text

        asked = alignment_asked(alignment, error, site, rig, kind, pressure, temperature, aim)
        found = asked.alignment
        allowed = None if wants is None else _allowed(found, asked.rig, *wants, guided, tolerance, fwhm)
        specs = knob_specs(asked.rig, found.site.is_north)
        correction = correct(found, *specs, found.site.is_north, allowed, stated_shift(asked.rig))
        seen = mark_on_sensor(found, correction.moves)
        if mark is not None:
            _draw(seen, mark)
        if keep_response:
            _keep(asked.rig, correction.response, found.site.is_north)
        typer.echo(
            json_text(correction_object(correction, seen))
            if as_json
            else correction_text(correction, found, seen)
        )
        for notice in (*asked.notices, *(aim.notices() if aim else ())):
            typer.echo(notice_text(notice), err=True)


def _draw(seen: SensorMark, path: Path) -> None:
    if seen.target is None:
        say(f"warning: {path.name} is not drawn: {seen.reason}")
        return
    from polarcheck.report import save_mark_picture

    save_mark_picture(seen.target, seen.pixels, path)


def _allowed(
    found: Alignment,
    rig: Rig | None,
    want_s: float,
    place: tuple[float, float],
    moment: tuple[float, float],
    guided: bool,
    tolerance: str,
    fwhm: str | None,
) -> float:
    """Largest total error that allows the wanted exposure, at most 600 arcmin. [arcmin]"""
    from polarcheck.outlook import required_error, set_scene

    optics = optics_asked(rig, None, None, None, 0.0, None)
    motion, _ = tolerance_asked(tolerance, fwhm, optics)
    scene = set_scene(found.site, found.sky.air, found.pole, place, moment, optics, guided=guided)
    needed = required_error(scene, found.pole, motion, want_s)
    return 600.0 if needed is None else needed


def _keep(rig: Rig | None, response: Response, north: bool) -> None:
    """Write the learned gains and backlash into the rig file."""
    from polarcheck.errors import InputError
    from polarcheck.knobs import kept_knobs, rig_text_with_knobs

    if rig is None:
        raise InputError("--keep-response needs a rig file to write to: name it with --rig")
    knobs = kept_knobs(response, north)
    write_text(rig.path, rig_text_with_knobs(rig, knobs))
    for knob in knobs:
        backlash = "" if knob.backlash_turns is None else f", backlash {knob.backlash_turns:.2g} turns"
        say(
            f"{rig.path.name}: {knob.name} knob {knob.arcmin_per_turn:.4g} +- {knob.arcmin_per_turn_sigma:.2g} arcmin "
            f"per turn, clockwise {knob.clockwise_moves}{backlash}."
        )
