"""The JSON object of ``polarcheck rig show``."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field

from polarcheck.printable import printable
from polarcheck.rig.file import Rig
from polarcheck.rig.summary import KnobSummary, OpenPoint, RigSummary
from polarcheck.schema import Pair, Schema, Table, WarningEntry

__all__ = ["RigSchema"]


class OpticsKeys(Table):
    """The telescope or lens."""

    focal_length_mm: float | None = Field(description="Focal length [mm].")


class CameraKeys(Table):
    """The camera's sensor."""

    pixel_size_um: float | None = Field(description="Side of a pixel [um].")
    width_px: int | None = Field(description="Columns of the image [px].")
    height_px: int | None = Field(description="Rows of the image [px].")
    zone: str | None = Field(description="Time zone of its clock, for files that do not name theirs.")


class FieldOfView(Table):
    """What the sensor covers of the sky."""

    width_deg: float | None = Field(description="Along the rows [deg].")
    height_deg: float | None = Field(description="Along the columns [deg].")
    diagonal_deg: float | None = Field(description="From corner to corner [deg].")


class GuidingKeys(Table):
    """Where the guide star stands."""

    offset_deg: Pair | None = Field(description="East and north of the field's centre [deg].")
    distance_deg: float | None = Field(description="From the field's centre [deg].")


class LimitsKeys(Table):
    """How far the mount can turn and the tube can point, as stated; null where it is not."""

    lowest_deg: float | None = Field(description="Altitude below which frames may not lie [deg].")
    highest_deg: float | None = Field(description="Altitude above which frames may not lie [deg].")
    past_meridian_deg: float | None = Field(
        description="How far past the meridian the tube may go before the mount changes the side of the pier [deg]."
    )
    axis_angle_deg: Pair | None = Field(
        description="Least and greatest turn about the axis, 0 with the camera on the meridian, west positive [deg]."
    )
    arc_deg: float | None = Field(description="Longest arc of one sweep [deg].")


class MountKeys(Table):
    """The mount, its knobs aside."""

    kind: Literal["german", "fork", "tracker"] | None = Field(description="How the mount is built.")
    limits: LimitsKeys

    periodic_error_arcsec: float | None = Field(description="Of the drive, peak to peak [arcsec].")
    worm_period_s: float | None = Field(description="Of the periodic error [s].")
    goal_arcmin: float | None = Field(description="Total error that is near enough, as stated [arcmin].")
    flexure_arcsec: float | None = Field(
        description="Sag and creep that a measurement allows for, as stated [arcsec]."
    )
    clamp_shift_arcmin: Pair | None = Field(
        description="Shift of the axis by tightening, azimuth about the vertical and altitude [arcmin]."
    )


class KnobKeys(Table):
    """How a knob acts."""

    knob: Literal["azimuth", "altitude"]
    kind: Literal["screw", "opposed bolts"]
    arcmin_per_turn: float | None = Field(
        description="Move of the axis in the first turn, azimuth about the vertical [arcmin]."
    )
    arcmin_per_turn_sigma: float | None = Field(description="Of a stated one [arcmin].")
    basis: Literal["measured", "thread and lever"] | None = Field(description="Where that comes from.")
    thread_pitch_mm: float | None = Field(description="Way of the screw in one turn [mm].")
    lever_mm: float | None = Field(description="From the screw to the pivot [mm].")
    clockwise_moves: Literal["east", "west", "up", "down"] | None = Field(
        description="Where the visible-pole end goes when the knob is turned clockwise, facing it."
    )
    smallest_turn: float = Field(description="What a hand can make [turn].")
    smallest_move_arcmin: float | None = Field(description="What that turn does [arcmin].")
    backlash_turns: float | None = Field(description="Play after a reversal, as stated [turn].")
    backlash_arcmin: float | None = Field(description="What the play would move [arcmin].")
    travel_arcmin: float | None = Field(description="From end to end of the knob's travel [arcmin].")
    travel_turns: float | None = Field(description="The same in turns [turn].")

    @classmethod
    def of(cls, knob: KnobSummary) -> Self:
        """Return what the file states of a knob and what follows."""
        stated = knob.knob
        return cls(
            knob=knob.name,
            kind=stated.kind,
            arcmin_per_turn=knob.arcmin_per_turn,
            arcmin_per_turn_sigma=stated.arcmin_per_turn_sigma,
            basis=knob.basis,
            thread_pitch_mm=stated.thread_pitch_mm,
            lever_mm=stated.lever_mm,
            clockwise_moves=stated.clockwise_moves,
            smallest_turn=knob.smallest_turn,
            smallest_move_arcmin=knob.smallest_move_arcmin,
            backlash_turns=stated.backlash_turns,
            backlash_arcmin=knob.backlash_arcmin,
            travel_arcmin=stated.travel_arcmin,
            travel_turns=knob.travel_turns,
        )


class PlaceKeys(Table):
    """Where the mount stands."""

    latitude_deg: float = Field(description="North positive [deg].")
    longitude_deg: float = Field(description="East positive [deg].")
    height_m: float = Field(description="Above the ellipsoid [m].")
    horizon: list[Pair] | None = Field(
        description="What hides the sky: azimuth and altitude of its corners [deg]; null where nothing is said."
    )
    zone: str | None = Field(description="Time zone of the clock that people there read.")

    @classmethod
    def of(cls, rig: Rig) -> Self | None:
        """Return a rig file's site, if it names one."""
        if rig.site is None:
            return None
        site = rig.site
        return cls(
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            height_m=site.height_m,
            horizon=rig.horizon,
            zone=rig.zone,
        )


class SolverKeys(Table):
    """The plate solver."""

    always: bool = Field(description="Whether unsolved frames are solved on the way, without being told.")
    index_folders: list[str] | None = Field(description="Folders of index files, beside the usual ones.")
    command: list[str | list[str]] | None = Field(description="Another solver's command, as stated.")


class MissingKey(Table):
    """Something that the rig file does not say."""

    key: str = Field(description="As it would stand in the file, with its table.")
    command: str = Field(description="The command that would use it.")
    without: str = Field(description="What that command does without it.")

    @classmethod
    def of(cls, point: OpenPoint) -> Self:
        """Return an open point."""
        return cls.like(point)


class RigSchema(Schema):
    """What a rig file says, what follows from it, and what it leaves open."""

    schema_: Literal["polarcheck.rig/1"] = Field(default="polarcheck.rig/1", alias="schema")
    file: str = Field(description="The rig file, printable.")
    optics: OpticsKeys
    camera: CameraKeys
    pixel_scale_arcsec: float | None = Field(description="At the field's centre [arcsec/px].")
    field_of_view: FieldOfView
    guiding: GuidingKeys
    mount: MountKeys
    knobs: list[KnobKeys] = Field(description="Azimuth, altitude.")
    site: PlaceKeys | None
    solver: SolverKeys
    missing: list[MissingKey] = Field(description="What is not said, in the file's order.")
    warnings: list[WarningEntry]

    @classmethod
    def of(cls, summary: RigSummary) -> Self:
        """Return the object of a rig file's summary."""
        rig = summary.rig
        return cls(
            file=printable(rig.path),
            optics=OpticsKeys.like(rig.optics),
            camera=CameraKeys.like(rig.camera),
            pixel_scale_arcsec=summary.pixel_scale_arcsec,
            field_of_view=FieldOfView.like(summary),
            guiding=GuidingKeys(offset_deg=rig.guiding.offset_deg, distance_deg=summary.guide_distance_deg),
            mount=MountKeys.like(rig.mount),
            knobs=[KnobKeys.of(knob) for knob in summary.knobs],
            site=PlaceKeys.of(rig),
            solver=SolverKeys.like(rig.solver),
            missing=[MissingKey.of(point) for point in summary.open_points],
            warnings=[WarningEntry.like(notice) for notice in summary.notices],
        )
