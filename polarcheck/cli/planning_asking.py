"""Where and when a night is planned for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer

from polarcheck import rig, sky, times
from polarcheck.cli.alignment_asking import PlaceOptions
from polarcheck.cli.clock_asking import typed_zone
from polarcheck.cli.moment_asking import AT_HELP, check_moment, moment_asked
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
    at: Annotated[str | None, typer.Option(help=f"{AT_HELP} Now unless given.", metavar="TIME")] = None
    zone: Annotated[
        str | None, typer.Option(help="In which --at 20:30 counts: +01:00, Europe/Vienna.", metavar="ZONE")
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
        check_moment(self.at or "now")
        content = found_rig(self.rig, [])
        zone = typed_zone(self.zone, content)
        site = site or (content.site if content else None)
        if site is None:
            raise InputError(
                "no site: give latitude and longitude, or a rig file with a site", ["site", "rig"]
            )
        place = self.place
        utc = times.clock_now() if self.at is None else moment_asked(self.at, zone, site)
        over = sky.Sky.over(site, place.pressure, place.temperature, place.humidity)
        return PlannedNight(over, utc, content)
