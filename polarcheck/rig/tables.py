"""What may stand in a rig file: its tables, their keys, and what each must be."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, field_validator, model_validator

from polarcheck.errors import InputError
from polarcheck.rig.limits import LimitsTable, require_horizon
from polarcheck.rig.solver_table import SolverTable
from polarcheck.times import check_zone

__all__ = ["CameraTable", "Guiding", "Knob", "Mount", "OpticsTable", "RigTables", "SitePlace"]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
OffsetDeg = Annotated[float, Field(ge=-45, le=45, allow_inf_nan=False)]
ShiftArcmin = Annotated[float, Field(ge=-600, le=600, allow_inf_nan=False)]


class OpticsTable(_Table):
    """The telescope or lens that the camera looks through."""

    focal_length_mm: Annotated[float, Field(ge=4, le=50_000, allow_inf_nan=False)] | None = None


def _zone(name: str) -> str:
    try:
        return check_zone(name)
    except InputError as error:
        raise ValueError(str(error)) from None


class CameraTable(_Table):
    """The camera's sensor, and the time zone of its clock where its files do not name it."""

    pixel_size_um: Annotated[float, Field(ge=0.5, le=100, allow_inf_nan=False)] | None = None
    width_px: Annotated[int, Field(ge=16, le=100_000)] | None = None
    height_px: Annotated[int, Field(ge=16, le=100_000)] | None = None
    zone: Annotated[str, AfterValidator(_zone)] | None = None


class Guiding(_Table):
    """Where the guide star stands from the field's centre, east and north. [deg]"""

    offset_deg: Annotated[list[OffsetDeg], Field(min_length=2, max_length=2)] | None = None


_KNOB_LIMITS = {
    "arcmin_per_turn": (0.01, 21_600),
    "thread_pitch_mm": (0.05, 50),
    "lever_mm": (1, 5_000),
    "arcmin_per_turn_sigma": (0.0001, 21_600),
    "backlash_turns": (0, 100),
    "smallest_turn": (0.0001, 1),
}
"""Beyond these it is another unit."""


class Knob(_Table):
    """How a knob moves the axis.

    Of opposed bolts one goes in while the other comes out by as much. Then ``clockwise_moves`` is said of the
    bolt on the east side (azimuth) or on the pole's side (altitude).
    """

    kind: Literal["screw", "opposed bolts"] = "screw"
    arcmin_per_turn: Positive | None = None
    arcmin_per_turn_sigma: Positive | None = None
    thread_pitch_mm: Positive | None = None
    lever_mm: Positive | None = None
    clockwise_moves: Literal["east", "west", "up", "down"] | None = None
    backlash_turns: NotNegative | None = None
    smallest_turn: Positive | None = None
    travel_arcmin: Annotated[float, Field(ge=5, lt=10_800, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _whole(self) -> Knob:
        if (self.thread_pitch_mm is None) != (self.lever_mm is None):
            raise ValueError("thread_pitch_mm and lever_mm belong together")
        for key, (least, most) in _KNOB_LIMITS.items():
            value = getattr(self, key)
            if value is not None and not least <= value <= most:
                raise ValueError(f"{key} = {value:g} is not within {least:g} to {most:g}")
        return self


class Mount(_Table):
    """The equatorial mount and its two adjustment knobs.

    ``goal_arcmin`` is the total error that is near enough. ``flexure_arcsec`` is how far sag (where the tube lies level)
    and creep (during a sweep) turn the camera. ``clamp_shift_arcmin`` is the axis after re-tightening minus before:
    azimuth about the vertical, altitude.
    """

    azimuth: Knob | None = None
    altitude: Knob | None = None
    periodic_error_arcsec: Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)] | None = None
    worm_period_s: Annotated[float, Field(ge=5, le=86_400, allow_inf_nan=False)] | None = None
    goal_arcmin: Annotated[float, Field(ge=0.01, le=600, allow_inf_nan=False)] | None = None
    flexure_arcsec: Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)] | None = None
    clamp_shift_arcmin: Annotated[list[ShiftArcmin], Field(min_length=2, max_length=2)] | None = None
    kind: Literal["german", "fork", "tracker"] | None = None
    limits: LimitsTable = LimitsTable()

    @model_validator(mode="after")
    def _senses(self) -> Mount:
        for name, knob, senses in (
            ("azimuth", self.azimuth, ("east", "west")),
            ("altitude", self.altitude, ("up", "down")),
        ):
            if knob and knob.clockwise_moves and knob.clockwise_moves not in senses:
                raise ValueError(f'{name}.clockwise_moves must be "{senses[0]}" or "{senses[1]}"')
        return self


class SitePlace(_Table):
    """Where the mount stands."""

    latitude_deg: Annotated[float, Field(ge=-90, le=90)]
    longitude_deg: Annotated[float, Field(ge=-180, le=360)]
    height_m: Annotated[float, Field(ge=-1000, le=10_000)] = 0.0
    horizon: list[list[Finite]] | None = None
    zone: Annotated[str, AfterValidator(_zone)] | None = None

    @field_validator("horizon")
    @classmethod
    def _profile(cls, profile: list[list[float]] | None) -> list[list[float]] | None:
        if profile is not None:
            require_horizon(profile)
        return profile


class RigTables(_Table):
    """All of a rig file."""

    optics: OpticsTable = OpticsTable()
    camera: CameraTable = CameraTable()
    guiding: Guiding = Guiding()
    mount: Mount = Mount()
    site: SitePlace | None = None
    solver: SolverTable = SolverTable()

    @field_validator("site", mode="before")
    @classmethod
    def _nothing_said(cls, table: object) -> object:
        return None if table == {} else table
