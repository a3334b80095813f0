"""The options that name an alignment, and what they stand for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import measurement, sky
from polarcheck.cli.clock_asking import ZoneOption, typed_zone, zone_of
from polarcheck.cli.night_asking import night_here, night_named
from polarcheck.cli.parsing import pair, parsed
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import RigOption, found_rig, rig_contradictions
from polarcheck.constants import FRAME_NOISE_PX
from polarcheck.errors import InputError
from polarcheck.site import Site, parse_site
from polarcheck.writing import NIGHT_FILE

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.errors import Notice
    from polarcheck.night import Tonight
    from polarcheck.rig import Rig

__all__ = ["AlignmentOptions", "Asked", "PlaceOptions", "PoleOption"]

PoleOption = Annotated[
    Literal["refracted", "true"] | None, typer.Option("--pole", help="What the error refers to.")
]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceOptions:
    """Where the mount stands, and the air there."""

    site: Annotated[
        str | None,
        typer.Option(
            help="Latitude north and longitude east positive, degrees; overrides the headers.",
            metavar="LAT,LON[,HEIGHT]",
        ),
    ] = None
    pressure: Annotated[
        float | None,
        typer.Option(help="Air pressure at the site; 0: no refraction.", metavar="HPA"),
    ] = None
    temperature: Annotated[float | None, typer.Option(help="Air temperature.", metavar="DEG_C")] = None
    humidity: Annotated[
        float | None, typer.Option(help="Relative humidity of the air, 0 to 1.", metavar="PART")
    ] = None

    def place(self) -> Site | None:
        """Return the site, if it is said."""
        return None if self.site is None else parsed("--site", self.site, parse_site)

    def conditions(
        self, rig: Rig | None, noise_px: float = FRAME_NOISE_PX, guided: bool | None = None
    ) -> measurement.Conditions:
        """Return site, air and noise, with what the rig file knows."""
        return measurement.Conditions(
            site=self.place(),
            fallback_site=rig.site if rig else None,
            pressure_hpa=self.pressure,
            temperature_c=self.temperature,
            relative_humidity=self.humidity,
            noise_px=noise_px,
            flexure_arcsec=rig.mount.flexure_arcsec if rig else None,
            frames_guided=guided,
            reach=rig.reach if rig else None,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignmentOptions:
    """An alignment: frames, a kept result, the night so far, or two numbers with a site."""

    paths: Annotated[
        list[Path] | None,
        typer.Argument(
            help="A folder or files of solved frames, a kept result, or a night's file; without one, the night of "
            "this folder.",
            metavar="ALIGNMENT",
        ),
    ] = None
    error: Annotated[
        str | None,
        typer.Option(help="Instead of frames: azimuth and altitude error, arcmin.", metavar="AZ,ALT"),
    ] = None
    place: PlaceOptions
    zone: ZoneOption = None
    rig: RigOption = None

    def read(self, pole: sky.PoleKind | None, aim: measurement.Aim | None = None) -> Asked:
        """Return the alignment, and what came with it; `aim` goes before `pole`."""
        error_arcmin = None if self.error is None else parsed("--error", self.error, pair)
        self.check()
        tonight = self._night()
        paths = [tonight.folder] if tonight else self.paths or []
        rig_file = found_rig(self.rig, paths)
        zone = zone_of(self.zone, rig_file)
        named = measurement.alignment_from(
            tonight.alignment if tonight else paths,
            error_arcmin=error_arcmin,
            conditions=self.place.conditions(rig_file),
            pole=pole,
            aim=aim,
            reading=measurement.Reading(zone=zone),
            progress=progress_line(),
        )
        found = named.alignment
        # what was said on the command line is no frame's
        off = rig_contradictions(rig_file, found) if paths and self.place.site is None else ()
        notices = (*(tonight.notices if tonight else ()), *named.notices, *off)
        typed = typed_zone(self.zone, rig_file)
        return Asked(found, notices, rig_file, zone, named.measurement, tonight, typed)

    def check(self) -> None:
        """Refuse a command line that names nothing where there is no night to go on with."""
        if self.paths or self.error is not None or night_here() is not None:
            return
        raise InputError(
            f"nothing to go on, and no night ({NIGHT_FILE}) in this folder: go to the folder of tonight's frames, or "
            "give a folder of solved frames, a kept result, a night's file, or a stated error with its site",
            ["error_arcmin", "site"],
        )

    def clock_zone(self) -> str | None:
        """Return the time zone of clock times that are typed, before anything is read."""
        tonight = self._night()
        paths = [tonight.folder] if tonight else self.paths or []
        return typed_zone(self.zone, found_rig(self.rig, paths, told=False))

    def _night(self) -> Tonight | None:
        """The night that is named, or that goes on in this folder where nothing is named."""
        if not self.paths:
            return night_here() if self.error is None else None
        return night_named(self.paths[0]) if [path.name for path in self.paths] == [NIGHT_FILE] else None


@dataclass(frozen=True, slots=True)
class Asked:
    """The alignment that a command line names, and what came with it.

    Attributes
    ----------
    alignment : Alignment
    notices : tuple of Notice
        What to warn of.
    rig : Rig or None
        The rig file in use.
    zone : str or None
        Time zone of the camera's clock, where somebody says so.
    measurement : Measurement or None
        What was measured for it.
    tonight : Tonight or None
        The night whose last finding it is, where the command line names one or nothing.
    typed_zone : str or None
        Time zone of clock times that people type.
    """

    alignment: Alignment
    notices: tuple[Notice, ...]
    rig: Rig | None
    zone: str | None
    measurement: measurement.Measurement | None = None
    tonight: Tonight | None = None
    typed_zone: str | None = None
