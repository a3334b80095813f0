"""The options that several commands share, and what they stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck.cli.shared import found_rig, pair, parsed, progress_line, site_option

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.errors import Notice
    from polarcheck.measurement import Aim
    from polarcheck.outlook import TargetAim
    from polarcheck.rig import Rig
    from polarcheck.sky import Pole, Sky, Target

__all__ = [
    "AimOption",
    "AlignmentArgument",
    "Asked",
    "AskedAim",
    "AtOption",
    "ErrorOption",
    "ForOption",
    "JsonOption",
    "PoleOption",
    "PressureOption",
    "RateOption",
    "RigOption",
    "SiteOption",
    "TargetOption",
    "TemperatureOption",
    "aim_asked",
    "alignment_asked",
    "duration_asked",
    "moment_asked",
    "target_asked",
]

AlignmentArgument = Annotated[
    list[Path] | None,
    typer.Argument(help="A folder or files of solved frames, or a kept result.", metavar="ALIGNMENT"),
]
ErrorOption = Annotated[
    str | None,
    typer.Option("--error", help="Instead of frames: azimuth and altitude error, arcmin.", metavar="AZ,ALT"),
]
SiteOption = Annotated[
    str | None,
    typer.Option(
        "--site", help="Latitude north and longitude east positive, degrees.", metavar="LAT,LON[,HEIGHT]"
    ),
]
RigOption = Annotated[
    Path | None, typer.Option("--rig", help="Rig file: optics, camera, mount, site.", metavar="FILE.toml")
]
PoleOption = Annotated[
    Literal["refracted", "true"] | None, typer.Option("--pole", help="What the error refers to.")
]
AimOption = Annotated[
    Literal["refracted", "true", "target"] | None,
    typer.Option(
        "--pole",
        help="Where to aim; target: where --target drifts least from --at on, over --for.",
    ),
]
PressureOption = Annotated[
    float | None,
    typer.Option("--pressure", help="Air pressure at the site; 0: no refraction.", metavar="HPA"),
]
TemperatureOption = Annotated[
    float | None, typer.Option("--temperature", help="Air temperature.", metavar="DEG_C")
]
TargetOption = Annotated[
    str | None,
    typer.Option(
        "--target", help="ICRS place (10.68,41.27 or 0h42m44s,41:16:9) or name (M31).", metavar="RA,DEC|NAME"
    ),
]
AtOption = Annotated[
    str | None, typer.Option("--at", help="Start, UTC: 2026-11-14T20:00:00.", metavar="TIME")
]
ForOption = Annotated[
    str | None, typer.Option("--for", help="How long: 90s, 10min, 1.5h.", metavar="DURATION")
]
RateOption = Annotated[
    Literal["sidereal", "king", "solar", "lunar"],
    typer.Option("--rate", help="At which the unguided mount turns."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]


@dataclass(frozen=True, slots=True)
class Asked:
    """The alignment that a command line names, and what came with it."""

    alignment: Alignment
    notices: tuple[Notice, ...]
    rig: Rig | None


def alignment_asked(
    paths: Sequence[Path] | None,
    error: str | None,
    site: str | None,
    rig: Path | None,
    pole: Literal["refracted", "true"] | None,
    pressure: float | None,
    temperature: float | None,
    aim: Aim | None = None,
) -> Asked:
    """Return the alignment that the common options name."""
    error_arcmin = None if error is None else parsed("--error", error, pair)
    place = site_option(site)
    from polarcheck.measurement import Conditions, alignment_from

    rig_file = found_rig(rig, paths or [])
    conditions = Conditions(
        site=place,
        fallback_site=rig_file.site if rig_file else None,
        pressure_hpa=pressure,
        temperature_c=temperature,
    )
    found, notices = alignment_from(
        paths or [],
        error_arcmin=error_arcmin,
        conditions=conditions,
        pole=pole,
        aim=aim,
        progress=progress_line(),
    )
    return Asked(found, (*notices, *_contradictions(rig_file, found, paths, site)), rig_file)


def _contradictions(
    rig: Rig | None, found: Alignment, paths: Sequence[Path] | None, site: str | None
) -> tuple[Notice, ...]:
    """Where the rig file does not belong to the frames; what was said on the command line is no frame's."""
    if not paths or site is not None:
        return ()
    from polarcheck.rig import rig_notices

    sensor = found.sensor
    if sensor is None:
        return rig_notices(rig, found.site)
    return rig_notices(rig, found.site, sensor.pixel_scale_arcsec, (sensor.width_px, sensor.height_px))


def target_asked(text: str | None) -> Target:
    """Return the target; a command line without one is wrong."""
    if text is None:
        raise typer.BadParameter(
            "give --target RA,DEC or a name such as M31", param_hint="--target"
        ) from None
    from polarcheck.sky import find_target

    return parsed("--target", text, find_target)


def moment_asked(text: str | None) -> tuple[float, float]:
    """Return the moment of ``--at``; a command line without one is wrong."""
    if text is None:
        raise typer.BadParameter("give --at TIME, UTC, such as 2026-11-14T20:00:00", param_hint="--at")
    from polarcheck.times import utc_from_iso

    return parsed("--at", text, utc_from_iso)


def duration_asked(option: str, text: str | None, longest_s: float) -> float:
    """Return a positive length of time up to a longest one. [s]"""
    if text is None:
        raise typer.BadParameter("give a length of time such as 90s, 10min or 1.5h", param_hint=option)
    from polarcheck.times import parse_duration

    seconds = parsed(option, text, parse_duration)
    if not 0 < seconds <= longest_s:
        raise typer.BadParameter(f"must be above 0 and at most {longest_s / 3600:g} h", param_hint=option)
    return seconds


@dataclass(slots=True)
class AskedAim:
    """The aim at a target that a command line asks for; found once site and air are known."""

    place: tuple[float, float]
    moment: tuple[float, float]
    seconds: float
    found: TargetAim | None = None

    def __call__(self, sky: Sky) -> Pole:
        """Find the aim, keep it, and return it as a pole."""
        from polarcheck.outlook import aim_for_target

        self.found = aim_for_target(sky.site, sky.air, self.place, self.moment, self.seconds)
        return self.found.pole

    def notices(self) -> tuple[Notice, ...]:
        """Say what the aim gains, and whether there is a clear optimum."""
        from polarcheck.report import aim_notices

        return aim_notices(self.found) if self.found else ()


def aim_asked(
    pole: str | None,
    target: str | None,
    at: str | None,
    duration: str | None,
    also_for: str | None = None,
) -> tuple[Literal["refracted", "true"] | None, AskedAim | None]:
    """Part ``--pole`` into a pole and an aim at a target, which needs the target, a time and a duration."""
    if pole == "target":
        place, moment = target_asked(target).place, moment_asked(at)
        return None, AskedAim(place, moment, duration_asked("--for", duration, 86400.0))
    for option, value in (("--target", target), ("--at", at), ("--for", duration)):
        if value is not None and (also_for is None or option == "--for"):
            raise typer.BadParameter("serves only with --pole target", param_hint=option)
    return ("true" if pole == "true" else "refracted" if pole == "refracted" else None), None
