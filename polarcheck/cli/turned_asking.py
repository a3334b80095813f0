"""What was turned since a kept result."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import knobs
from polarcheck.cli.parsing import parsed, turns

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.rig import Rig

__all__ = ["TurnedOption", "turns_made", "turns_said"]

TurnedOption = Annotated[
    str | None,
    typer.Option(
        help="Turns given to each knob since then, net, clockwise positive, such as -0.5,3/16; or told: as correct said.",
        metavar="AZ,ALT|told",
    ),
]


def turns_said(text: str | None) -> tuple[float, float] | Literal["told"] | None:
    """Return the turns of the azimuth and the altitude knob as the option says them."""
    if text is None:
        return None
    return "told" if text.strip().lower() == "told" else parsed("--turned", text, turns)


def turns_made(
    said: tuple[float, float] | Literal["told"] | None, before: Alignment, rig: Rig | None
) -> tuple[float, float] | None:
    """Return the turns themselves, where they were as a result's advice told."""
    return knobs.told_turns(before, rig) if said == "told" else said
