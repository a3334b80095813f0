"""Where and when a night is planned for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated

import typer

from polarcheck import rig, sky, times
from polarcheck.cli.alignment_asking import PlaceOptions
from polarcheck.cli.parsing import parsed
from polarcheck.cli.rig_asking import RigOption, found_rig
from polarcheck.errors import InputError

__all__ = ["NightOptions", "PlannedNight"]


@dataclass(frozen=True, slots=True)
class PlannedNight:
    """A sky, a moment, and the rig file if there is one."""

    sky: sky.Sky
    utc: tuple[float, float]
    rig: rig.Rig | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NightOptions:
    """Site, air, time and rig file, without any frames."""

    place: PlaceOptions
    at: Annotated[
        str | None, typer.Option(help="When, UTC: 2026-11-14T20:00:00; now unless given.", metavar="TIME")
    ] = None
    rig: RigOption = None

    def read(self) -> PlannedNight:
        """Return what was asked for.

        Raises
        ------
        InputError
            No site is stated.
        """
        site = self.place.place()
        now = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%S}"
        utc = parsed("--at", self.at or now, times.utc_from_iso)
        content = found_rig(self.rig, [])
        site = site or (content.site if content else None)
        if site is None:
            raise InputError(
                "no site: give latitude and longitude, or a rig file with a site", ["site", "rig"]
            )
        place = self.place
        over = sky.Sky.over(site, place.pressure, place.temperature, place.humidity)
        return PlannedNight(over, utc, content)
