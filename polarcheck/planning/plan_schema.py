"""The JSON objects of ``polarcheck plan``."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field

from polarcheck.planning.expected import ExpectedSigma, PlanCamera
from polarcheck.planning.schema import PlaceAnswer
from polarcheck.planning.sweep import Position, SweepPlan
from polarcheck.planning.tracked import TrackedPlan, TrackedRow
from polarcheck.schema import Table
from polarcheck.times import iso_from_utc

__all__ = ["PlanSchema", "TrackedPlanSchema"]


class PositionTable(Table):
    """One frame to take."""

    utc: str = Field(description="When, if the frames follow each other by 90 s; ISO 8601, UTC.")
    axis_angle_deg: float = Field(description="About the right-ascension axis, west positive [deg].")
    hour_angle_h: float = Field(description="The same in hours, -12 to 12 [h].")
    turn_deg: float = Field(description="From the frame before, westward; 0 for the first [deg].")
    declination_deg: float = Field(description="About the axis, the same for all [deg].")
    icrs_declination_deg: float = Field(description="ICRS, at that time [deg].")
    right_ascension_deg: float = Field(description="ICRS, at that time [deg].")
    azimuth_deg: float = Field(description="As seen [deg].")
    altitude_deg: float = Field(description="As seen [deg].")

    @classmethod
    def of(cls, position: Position) -> Self:
        """Return one frame."""
        return cls(
            utc=iso_from_utc(position.utc),
            axis_angle_deg=position.axis_angle_deg,
            hour_angle_h=position.axis_angle_deg / 15,
            turn_deg=position.turn_deg,
            declination_deg=position.declination_deg,
            icrs_declination_deg=position.icrs_declination_deg,
            right_ascension_deg=position.right_ascension_deg,
            azimuth_deg=position.azimuth_deg,
            altitude_deg=position.altitude_deg,
        )


class SigmaTable(Table):
    """One sigma of the axis' error, for noise as assumed."""

    azimuth_sigma_arcmin: float = Field(description="About the vertical [arcmin].")
    altitude_sigma_arcmin: float = Field(description="[arcmin].")
    total_arcmin: float = Field(description="Root mean square on the sky [arcmin].")
    correlation: float = Field(description="Between azimuth and altitude.")
    sag_azimuth_arcmin: float | None = Field(
        description="By how much sag and creep of camera.flexure_arcsec may shift the answer besides, about the vertical; "
        "a bound, no sigma [arcmin]."
    )
    sag_altitude_arcmin: float | None = Field(description="The same in altitude [arcmin].")
    sag_total_arcmin: float | None = Field(description="The same at most on the sky [arcmin].")

    @classmethod
    def of(cls, sigma: ExpectedSigma) -> Self:
        """Return the sigmas."""
        return cls(
            azimuth_sigma_arcmin=sigma.azimuth_arcmin,
            altitude_sigma_arcmin=sigma.altitude_arcmin,
            total_arcmin=sigma.total_arcmin,
            correlation=sigma.correlation,
            sag_azimuth_arcmin=sigma.sag_azimuth_arcmin,
            sag_altitude_arcmin=sigma.sag_altitude_arcmin,
            sag_total_arcmin=sigma.sag_total_arcmin,
        )


class ObviousTable(SigmaTable):
    """As many frames from 30 deg east to 30 deg west of the meridian at declination 60 (south -60)."""

    in_reach: bool = Field(description="Whether they could be taken.")


class PlanCameraTable(Table):
    """The camera that the expected sigma is for."""

    width_px: int = Field(description="[px].")
    height_px: int = Field(description="[px].")
    scale_arcsec: float = Field(description="At the centre [arcsec/px].")
    noise_px: float = Field(description="Pointing noise of a frame, per coordinate [px].")
    flexure_arcsec: float = Field(description="Sag and creep that are allowed for [arcsec].")
    assumed: bool = Field(description="Whether nobody stated sensor and scale: then they are the demo rig's.")


class PlanSchema(PlaceAnswer):
    """Which frames to take."""

    schema_: Literal["polarcheck.plan/1"] = Field(default="polarcheck.plan/1", alias="schema")
    declination_deg: float = Field(
        description="To set and clamp, about the axis once that is near the pole [deg]."
    )
    positions: list[PositionTable] = Field(description="In the order in which to take them.")
    arc_deg: float = Field(description="From the first to the last [deg].")
    crosses_meridian: bool
    expected: SigmaTable
    obvious: ObviousTable
    camera: PlanCameraTable

    @classmethod
    def of(cls, plan: SweepPlan) -> Self:
        """Return the object of a plan."""
        obvious = SigmaTable.of(plan.obvious).to_dict()
        return cls(
            **PlaceAnswer.about(plan.sky, plan.utc, plan.notices),
            declination_deg=plan.declination_deg,
            positions=[PositionTable.of(position) for position in plan.positions],
            arc_deg=plan.arc_deg,
            crosses_meridian=plan.crosses_meridian,
            expected=SigmaTable.of(plan.expected),
            obvious=ObviousTable(**obvious, in_reach=plan.obvious_in_reach),
            camera=_camera(plan.camera),
        )


class TrackedRowTable(Table):
    """What is known after so long."""

    minutes: int = Field(description="[min].")
    frames: int = Field(description="One a minute.")
    expected: SigmaTable

    @classmethod
    def of(cls, row: TrackedRow) -> Self:
        """Return one row."""
        return cls(minutes=row.minutes, frames=row.frames, expected=SigmaTable.of(row.expected))


class TrackedPlanSchema(PlaceAnswer):
    """Where to point once with a mount that only tracks."""

    schema_: Literal["polarcheck.plan-tracked/1"] = Field(default="polarcheck.plan-tracked/1", alias="schema")
    declination_deg: float = Field(description="Of the field [deg].")
    axis_angle_deg: float = Field(description="At the start, west positive [deg].")
    azimuth_deg: float = Field(description="At the start [deg].")
    altitude_deg: float = Field(description="At the start [deg].")
    rows: list[TrackedRowTable]
    goal_arcmin: float = Field(
        description="Sigma on the sky and what sag may do, as a root of squares [arcmin]."
    )
    minutes_to_goal: float | None = Field(
        description="Null where it takes longer than the field stays in reach."
    )
    camera: PlanCameraTable

    @classmethod
    def of(cls, plan: TrackedPlan) -> Self:
        """Return the object of a plan."""
        return cls(
            **PlaceAnswer.about(plan.sky, plan.utc, plan.notices),
            declination_deg=plan.declination_deg,
            axis_angle_deg=plan.axis_angle_deg,
            azimuth_deg=plan.azimuth_deg,
            altitude_deg=plan.altitude_deg,
            rows=[TrackedRowTable.of(row) for row in plan.rows],
            goal_arcmin=plan.goal_arcmin,
            minutes_to_goal=plan.minutes_to_goal,
            camera=_camera(plan.camera),
        )


def _camera(camera: PlanCamera) -> PlanCameraTable:
    return PlanCameraTable(
        width_px=camera.width_px,
        height_px=camera.height_px,
        scale_arcsec=camera.scale_arcsec,
        noise_px=camera.noise_px,
        flexure_arcsec=camera.flexure_arcsec,
        assumed=camera.assumed,
    )
