"""``polarcheck correct``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import followup, knobs, outlook, report
from polarcheck.cli.alignment_asking import AlignmentOptions, Asked
from polarcheck.cli.belonging import book_of
from polarcheck.cli.command import command
from polarcheck.cli.ending import say
from polarcheck.cli.follow_on import follow_on
from polarcheck.cli.night_asking import NoNightOption
from polarcheck.cli.optics_asking import MotionOptions, OpticsOptions, OutlookOptions
from polarcheck.cli.output import ForceOption, JsonOption, show, warn, writable
from polarcheck.cli.target_asking import AimOption, SpanOptions, duration_asked
from polarcheck.errors import InputError
from polarcheck.writing import rewrite_text

if TYPE_CHECKING:
    from polarcheck.rig import Rig

__all__ = ["correct_command"]


@command
def correct_command(
    *,
    alignment: AlignmentOptions,
    pole: AimOption = None,
    aiming: SpanOptions,
    want: Annotated[
        str | None,
        typer.Option(
            help="The exposure of --target from --at on that must hold; tells when to stop turning.",
            metavar="DURATION",
        ),
    ] = None,
    goal: Annotated[
        float | None,
        typer.Option(
            help="Total error that is near enough; else what --want allows, else the rig file's, else 0.5 or what a "
            "hand can do.",
            metavar="ARCMIN",
            min=0.01,
            max=600,
        ),
    ] = None,
    motion: MotionOptions,
    mark: Annotated[
        Path | None,
        typer.Option(help="Draw where a star of the last frame must go.", metavar="FILE.png|svg"),
    ] = None,
    keep_response: Annotated[
        bool,
        typer.Option("--keep-response", help="Write what the night taught of the knobs into the rig file."),
    ] = False,
    no_night: NoNightOption = False,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Tell what to do next: turn which knob how far, take which frames first, or stop.

    Without ALIGNMENT it goes on with the night of this folder, as measure and follow left it.

    Example: polarcheck correct --rig rig.toml
    Example: polarcheck correct result.json --rig rig.toml
    """
    wants = None
    if want is not None:
        wants = (
            duration_asked("--want", want, outlook.LONGEST_S),
            aiming.place().place,
            aiming.moment(zone=alignment.clock_zone()),
        )
    kind, aim = aiming.aim(pole, want, alignment.clock_zone())
    writable("--mark", mark, [".png", ".svg"], force=force)
    asked = alignment.read(kind, aim)
    found = asked.alignment
    allowed = None if wants is None else _allowed(asked, *wants, motion)
    correction = knobs.correct(found, asked.rig, goal_arcmin=goal, tolerance_arcmin=allowed)
    seen = followup.mark_on_sensor(found, correction.moves)
    if mark is not None:
        _draw(seen, mark)
    if keep_response:
        _keep(asked.rig, correction.response, found.site.is_north)
    book, of_night = book_of(asked, alignment.paths or [], no_night)
    unkept = book.write(book.advice(correction, seen)) if book else ()
    then = follow_on(alignment.paths, None if unkept else book, alignment.rig, correction.worth_turning)
    show(
        as_json,
        lambda: report.correction_object(correction, seen),
        lambda: report.correction_text(correction, found, seen, then, asked.rig),
        (*asked.notices, *(aim.notices() if aim else ())),
    )
    warn((*of_night, *unkept))


def _draw(seen: followup.SensorMark, path: Path) -> None:
    if seen.target is None:
        say(f"warning: {path.name} is not drawn: {seen.reason}")
        return
    report.save_mark_picture(seen.target, seen.pixels, path)


def _allowed(
    asked: Asked,
    want_s: float,
    place: tuple[float, float],
    moment: tuple[float, float],
    motion: MotionOptions,
) -> float:
    """Largest total error that allows the wanted exposure, at most 600 arcmin. [arcmin]"""
    rig = asked.rig
    if rig is None or None in (rig.pixel_scale_arcsec, rig.camera.width_px, rig.camera.height_px):
        raise InputError(
            "the wanted exposure needs a rig file with focal_length_mm, pixel_size_um, width_px and height_px",
            ["rig"],
        )
    ahead, _ = OutlookOptions(motion=motion, optics=OpticsOptions()).read(asked, None)
    needed = ahead.required(place, moment, want_s)
    return 600.0 if needed is None else needed


def _keep(rig: Rig | None, response: knobs.Response, north: bool) -> None:
    """Write the learned gains and backlash into the rig file."""
    if rig is None:
        raise InputError("--keep-response needs a rig file to write to", ["rig"])
    kept = knobs.kept_knobs(response, north)
    rewrite_text(rig.path, knobs.rig_text_with_knobs(rig, kept))
    for knob in kept:
        backlash = "" if knob.backlash_turns is None else f", backlash {knob.backlash_turns:.2g} turns"
        say(
            f"{rig.path.name}: {knob.name} knob {knob.arcmin_per_turn:.4g} +- {knob.arcmin_per_turn_sigma:.2g} arcmin "
            f"per turn, clockwise {knob.clockwise_moves}{backlash}."
        )
