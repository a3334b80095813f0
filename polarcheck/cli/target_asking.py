"""The options that name a target and a time, and the aim that follows from them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import outlook, report, sky, times
from polarcheck.cli.moment_asking import AT_HELP, check_moment, moment_asked
from polarcheck.cli.parsing import parsed

if TYPE_CHECKING:
    from polarcheck.cli.alignment_asking import Asked
    from polarcheck.errors import Notice

__all__ = ["AimOption", "AskedAim", "SpanOptions", "TargetOptions", "duration_asked"]

AimOption = Annotated[
    Literal["refracted", "true", "target"] | None,
    typer.Option(
        "--pole",
        help="Where to aim; target: where --target drifts least from --at on, over --for.",
    ),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetOptions:
    """A target and a moment."""

    target: Annotated[
        str | None,
        typer.Option(
            help="ICRS place (10.68,41.27 or 0h42m44s,41:16:9) or name (M31).", metavar="RA,DEC|NAME"
        ),
    ] = None
    at: Annotated[str | None, typer.Option(help=AT_HELP, metavar="TIME")] = None

    def place(self) -> sky.Target:
        """Return the target; a command line without one is wrong."""
        if self.target is None:
            raise typer.BadParameter("give --target RA,DEC or a name such as M31", param_hint="--target")
        return parsed("--target", self.target, sky.find_target)

    def check_moment(self) -> None:
        """Refuse a moment that is none; a command line without one is wrong."""
        check_moment(self.at)

    def moment(self, asked: Asked | None = None, zone: str | None = None) -> tuple[float, float]:
        """Return the moment, in the zone and over the site of an alignment where there is one, else in a stated zone."""
        if asked is None:
            return moment_asked(self.at, zone)
        return moment_asked(self.at, asked.typed_zone, asked.alignment.site)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanOptions(TargetOptions):
    """A target over a span of time."""

    duration: Annotated[
        str | None, typer.Option("--for", help="How long: 90s, 10min, 1.5h.", metavar="DURATION")
    ] = None

    def seconds(self) -> float:
        """Return the span, at most a day. [s]"""
        return duration_asked("--for", self.duration, 86400.0)

    def aim(
        self, pole: str | None, also_for: str | None = None, zone: str | None = None
    ) -> tuple[Literal["refracted", "true"] | None, AskedAim | None]:
        """Part ``--pole`` into a pole and an aim at the target; `also_for` is what else target and time serve."""
        if pole == "target":
            return None, AskedAim(self.place().place, self.moment(zone=zone), self.seconds())
        for option, value in (("--target", self.target), ("--at", self.at), ("--for", self.duration)):
            if value is not None and (also_for is None or option == "--for"):
                raise typer.BadParameter("serves only with --pole target", param_hint=option)
        return ("true" if pole == "true" else "refracted" if pole == "refracted" else None), None


def duration_asked(option: str, text: str | None, longest_s: float) -> float:
    """Return a positive length of time up to a longest one. [s]"""
    if text is None:
        raise typer.BadParameter("give a length of time such as 90s, 10min or 1.5h", param_hint=option)
    seconds = parsed(option, text, times.parse_duration)
    if not 0 < seconds <= longest_s:
        raise typer.BadParameter(f"must be above 0 and at most {longest_s / 3600:g} h", param_hint=option)
    return seconds


@dataclass(slots=True)
class AskedAim:
    """The aim at a target that a command line asks for; found once site and air are known."""

    place: tuple[float, float]
    moment: tuple[float, float]
    seconds: float
    found: outlook.TargetAim | None = None

    def __call__(self, over: sky.Sky) -> sky.Pole:
        """Find the aim, keep it, and return it as a pole."""
        self.found = outlook.aim_for_target(over, self.place, self.moment, self.seconds)
        return self.found.pole

    def notices(self) -> tuple[Notice, ...]:
        """Say what the aim gains, and whether there is a clear optimum."""
        return report.aim_notices(self.found) if self.found else ()
