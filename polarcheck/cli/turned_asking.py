"""What was turned since a kept result."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import knobs
from polarcheck.cli.parsing import parsed, turns

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.rig import Rig

__all__ = ["TurnedOption", "turned_asked"]

TurnedOption = Annotated[
    str | None,
    typer.Option(
        help="Turns given to each knob since then, net, clockwise positive, such as -0.5,3/16; or told: as correct said.",
        metavar="AZ,ALT|told",
    ),
]


def turned_asked(text: str | None, before: Alignment, rig: Rig | None) -> tuple[float, float] | None:
    """Return the turns of the azimuth and the altitude knob, if they are said."""
    if text is None:
        return None
    if text.strip().lower() == "told":
        return knobs.told_turns(before, rig)
    return parsed("--turned", text, turns)
