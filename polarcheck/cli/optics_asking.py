"""The options for optics, guiding and tolerance, and what they stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import outlook
from polarcheck.cli.parsing import pair, parsed
from polarcheck.cli.progress import progress_line

if TYPE_CHECKING:
    from polarcheck.cli.alignment_asking import Asked
    from polarcheck.errors import Notice
    from polarcheck.frames import Sensor
    from polarcheck.rig import Rig

__all__ = ["MotionOptions", "OpticsOptions", "OutlookOptions", "RateOption"]

RateOption = Annotated[
    Literal["sidereal", "king", "solar", "lunar"],
    typer.Option("--rate", help="At which the unguided mount turns."),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpticsOptions:
    """Telescope, camera and guide star."""

    focal_length: Annotated[float | None, typer.Option(help="Else from the rig file.", metavar="MM")] = None
    pixel_size: Annotated[float | None, typer.Option(help="Else from the rig file.", metavar="UM")] = None
    sensor: Annotated[
        str | None, typer.Option(help="Pixels, such as 1200x900; else from the rig file.", metavar="WxH")
    ] = None
    camera_angle: Annotated[
        float, typer.Option(help="Position angle of the sensor's +y side.", metavar="DEG")
    ] = 0.0
    guide_offset: Annotated[
        str | None,
        typer.Option(help="Guide star from the field's centre, degrees.", metavar="EAST,NORTH"),
    ] = None

    def read(self, rig: Rig | None, frames: Sensor | None = None) -> outlook.Optics:
        """Return the optics that options and rig file name, else those that the frames show."""
        offset = self.guide_offset
        return outlook.optics_from(
            rig,
            focal_length_mm=self.focal_length,
            pixel_size_um=self.pixel_size,
            sensor_px=None if self.sensor is None else parsed("--sensor", self.sensor, outlook.parse_sensor),
            camera_angle_deg=self.camera_angle,
            guide_offset_deg=None if offset is None else parsed("--guide-offset", offset, pair),
            seen=frames,
        )

    @property
    def is_stated(self) -> bool:
        """Whether an option tells the pixel scale or the size."""
        return (self.focal_length, self.pixel_size, self.sensor) != (None, None, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class MotionOptions:
    """What moves, and how much of it is allowed."""

    guided: Annotated[
        bool, typer.Option("--guided/--unguided", help="Whether a guider holds a star still.")
    ] = False
    tolerance: Annotated[
        str,
        typer.Option(help="Motion allowed: 1px, 2arcsec, or 1.2elongation with --fwhm.", metavar="MOTION"),
    ] = "1px"
    fwhm: Annotated[
        str | None,
        typer.Option(
            help="Size of a star that does not move: 3.2arcsec, 2px, or measured (on the frames given).",
            metavar="SIZE",
        ),
    ] = None

    def size(self, optics: outlook.Optics, frames: Sequence[Path] | None = None) -> float | None:
        """Return the size of a star that does not move, said or measured on the frames, if it is asked for. [arcsec]"""
        scale = optics.pixel_scale_arcsec
        if self.fwhm is None:
            return None
        if self.fwhm.strip().lower() == "measured":
            return outlook.measured_fwhm(frames or [], scale, progress_line())
        return parsed("--fwhm", self.fwhm, lambda text: outlook.parse_tolerance(text, scale))

    def allowed(
        self, optics: outlook.Optics, frames: Sequence[Path] | None = None
    ) -> tuple[float, tuple[Notice, ...]]:
        """Return the tolerated motion, and a warning where no star shows so little. [arcsec]"""
        scale, size = optics.pixel_scale_arcsec, self.size(optics, frames)
        allowed = parsed(
            "--tolerance", self.tolerance, lambda text: outlook.parse_tolerance(text, scale, size)
        )
        return allowed, outlook.seeing_notices(allowed, size)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlookOptions:
    """What moves, and what sees it."""

    motion: MotionOptions
    optics: OpticsOptions

    def read(
        self, asked: Asked, frames: Sequence[Path] | None, rate: outlook.Rate = "sidereal"
    ) -> tuple[outlook.Outlook, tuple[Notice, ...]]:
        """Return the outlook of an alignment, and what to warn of."""
        sensor = asked.alignment.sensor
        optics = self.optics.read(asked.rig, sensor)
        seen = outlook.seen_notices(optics, asked.rig, self.optics.is_stated, sensor)
        tolerance, notices = self.motion.allowed(optics, frames)
        horizon = asked.rig.reach.horizon if asked.rig else None
        found = outlook.Outlook(asked.alignment, optics, tolerance, self.motion.guided, rate, horizon)
        return found, (*asked.notices, *seen, *notices)
