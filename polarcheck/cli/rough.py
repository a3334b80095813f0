"""``polarcheck rough``."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from polarcheck import planning, report
from polarcheck.cli.command import command
from polarcheck.cli.output import OutputOptions, show, warn
from polarcheck.cli.planning_asking import NightOptions

__all__ = ["rough_command"]


@command
def rough_command(
    *,
    night: NightOptions,
    checklist: Annotated[
        bool, typer.Option("--checklist", help="Print the set-up as a list of steps to tick off instead.")
    ] = False,
    finder: Annotated[
        Literal["inverting", "upright", "none"] | None,
        typer.Option(help="Your polar finder, for the list; most turn the view by 180 deg."),
    ] = None,
    width: Annotated[
        float, typer.Option(help="Of the picture around the pole.", metavar="DEG", min=0.5, max=8.0)
    ] = 5.5,
    output: OutputOptions,
) -> None:
    """Tell what to set before dark and at dusk: latitude scale, compass, Sun's shadow, pole star.

    Never look at the Sun, and keep caps on every lens while it is up.

    Example: polarcheck rough --site 47.3,11.2,900 --at 2026-11-14T14:00:00 --plot pole.png
    """
    output.check()
    if checklist and output.as_json:
        raise typer.BadParameter("the list is text to print; leave out --json", param_hint="--checklist")
    asked = night.read()
    setup = planning.rough_setup(asked.sky, asked.utc, asked.rig)
    if output.plot is not None:
        field = planning.pole_field(asked.utc, asked.sky, width)
        output.draw(lambda path: report.save_pole_picture(field, setup, width, path))
    if checklist:
        typer.echo(report.checklist_text(planning.checklist_for(setup, asked.rig, finder)))
        warn(setup.notices)
        return
    show(
        output.as_json,
        lambda: report.rough_object(setup),
        lambda: report.rough_text(setup),
        setup.notices,
    )
