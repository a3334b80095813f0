"""Options for the clock behind the frames."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import times
from polarcheck.cli.parsing import parsed

if TYPE_CHECKING:
    from polarcheck.rig import Rig

__all__ = ["ClockAheadOption", "ZoneOption", "ahead_s", "typed_zone", "zone_of"]

ClockAheadOption = Annotated[
    str | None,
    typer.Option(
        "--clock-ahead",
        help="By how much the headers' clock was ahead of UTC (with a zone: of that zone's time): 2h, -5h, 90s.",
        metavar="DURATION",
    ),
]

ZoneOption = Annotated[
    str | None,
    typer.Option(
        "--zone",
        help="Time zone of a camera's clock, where its files do not name it: +01:00, Europe/Vienna.",
        metavar="ZONE",
    ),
]


def ahead_s(option: str | None) -> float:
    """Return by how much the clock was ahead, 0 unless said. [s]"""
    return 0.0 if option is None else parsed("--clock-ahead", option, times.parse_duration)


def zone_of(option: str | None, rig: Rig | None) -> str | None:
    """Return the time zone of a camera's clock that is said, else the rig file's."""
    if option is not None:
        return parsed("--zone", option, times.check_zone)
    return rig.camera.zone if rig else None


def typed_zone(option: str | None, rig: Rig | None) -> str | None:
    """Return the time zone of clock times that are typed: as said, else that of the rig file's site, else its camera's."""
    if option is not None or rig is None or rig.zone is None:
        return zone_of(option, rig)
    return rig.zone
