"""``polarcheck plan``."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite, radians
from typing import Annotated

import typer

from polarcheck import axis, planning, report
from polarcheck.cli.command import command
from polarcheck.cli.output import JsonOption, show
from polarcheck.cli.parsing import parsed
from polarcheck.cli.planning_asking import NightOptions
from polarcheck.constants import FRAME_NOISE_PX
from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["plan_command"]


@command
def plan_command(
    *,
    night: NightOptions,
    declination: Annotated[
        float | None,
        typer.Option(
            help="Where the camera looks; unless given, where it is best.", metavar="DEG", min=-90, max=90
        ),
    ] = None,
    frames: Annotated[int, typer.Option(help="How many frames.", min=2, max=30)] = 5,
    view: Annotated[
        str | None,
        typer.Option(
            help="The only sky you have: azimuths from first through east to second, and altitudes: 120,240,20,60.",
            metavar="AZ,AZ[,ALT,ALT]",
        ),
    ] = None,
    tracked: Annotated[
        bool, typer.Option("--tracked", help="The mount can only track: what one field gives, and how soon.")
    ] = False,
    goal: Annotated[
        float,
        typer.Option(
            help="With --tracked: the error to reach, sag counted.", metavar="ARCMIN", min=0.001, max=600
        ),
    ] = 1.0,
    noise_px: Annotated[
        float,
        typer.Option(help="Pointing noise of a frame, per coordinate.", metavar="PX", min=0.0001, max=100),
    ] = FRAME_NOISE_PX,
    as_json: JsonOption = False,
) -> None:
    """Tell which frames to take: the declination, and how far to turn between them.

    Horizon and limits come from the rig file; Sun and a bright Moon are kept away from.

    Example: polarcheck plan --site 47.3,11.2 --at 2026-11-14T19:00:00 --frames 4
    """
    limits = None if view is None else parsed("--view", view, _view)
    asked = night.read()
    reach = asked.rig.reach if asked.rig else axis.Reach()
    if limits is not None:
        reach = _narrowed(reach, limits)
    camera = planning.camera_of(asked.rig, noise_px)
    if tracked:
        plan = planning.plan_tracked(
            asked.sky, asked.utc, camera, reach=reach, declination_deg=declination, goal_arcmin=goal
        )
        show(
            as_json,
            lambda: report.tracked_plan_object(plan),
            lambda: report.tracked_plan_text(plan),
            plan.notices,
        )
        return
    sweep = planning.plan_sweep(asked.sky, asked.utc, camera, planning.SweepWish(frames, declination, reach))
    show(as_json, lambda: report.plan_object(sweep), lambda: report.plan_text(sweep), sweep.notices)


def _view(text: str) -> tuple[float, float, float, float]:
    example = "write two azimuths, and two altitudes if they matter: 120,240 or 120,240,20,60"
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        raise InputError(f"'{printable(text, 40)}' is no view; {example}") from None
    if len(values) not in (2, 4) or not all(isfinite(value) for value in values):
        raise InputError(f"'{printable(text, 40)}' is no view; {example}")
    first, second, lowest, highest = (*values, 0.0, 90.0)[:4]
    if not (0 <= first <= 360 and 0 <= second <= 360):
        raise InputError(f"azimuths must be within 0 to 360; {example}")
    if not 0 <= lowest < highest <= 90:
        raise InputError(f"altitudes must be within 0 to 90, the lower first; {example}")
    return first, second, lowest, highest


def _narrowed(reach: axis.Reach, view: tuple[float, float, float, float]) -> axis.Reach:
    first, second, lowest, highest = (radians(value) for value in view)
    around = None if view[0] == 0 and view[1] == 360 else (first, second)
    return replace(reach, view=around, lowest=max(reach.lowest, lowest), highest=min(reach.highest, highest))
