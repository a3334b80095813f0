"""The JSON object of ``polarcheck measure``."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from pydantic import Field

from polarcheck.alignment import ErrorTable, FrameTable, KeptAlignment, KeptAxis, PoleTable
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.measurement.result import Measurement, NextStep
from polarcheck.measurement.verdicts import FrameEntry
from polarcheck.schema import Pair, Table, WarningEntry
from polarcheck.times import iso_from_utc

__all__ = ["MeasurementSchema"]


class MeasuredAxis(KeptAxis):
    """The axis with its uncertainty and its place among the stars."""

    right_ascension_deg: float = Field(description="ICRS place seen there at epoch_utc [deg].")
    declination_deg: float = Field(description="ICRS [deg].")


class OtherPole(PoleTable):
    """The other pole, and the error counted from it."""

    error: ErrorTable


class CreepTable(Table):
    """A steady change of declination that a frame taken back betrayed."""

    arcsec: float = Field(description="From the first used frame to the last, towards the pole [arcsec].")
    sigma_arcsec: float = Field(description="Its standard error [arcsec].")


class LastingTable(Table):
    """How much of a component's error lasts, and how long."""

    share: float = Field(description="Of its variance, 0 to 1.")
    seconds: float = Field(description="Time in which it fades to 1/e [s].")

    @classmethod
    def of(cls, result: Measurement) -> list[Self] | None:
        """Return one entry for each component of a tracked sequence."""
        tracked = result.fit.tracked
        if tracked is None:
            return None
        found = zip(tracked.estimate.lasting, tracked.estimate.seconds, strict=True)
        return [cls(share=float(share), seconds=float(seconds)) for share, seconds in found]


def _contradiction(result: Measurement) -> Pair | None:
    apart = result.fit.contradiction
    return None if apart is None else [float(one) / ARCMIN for one in apart]


class FitTable(Table):
    """How the axis came about."""

    frames_used: int = Field(description="Frames that bear on the axis.")
    frames_left_out: int = Field(description="Frames for which another stands are not counted.")
    residual_rms_arcsec: float = Field(description="Over the points of the used frames [arcsec].")
    degrees_of_freedom: int = Field(description="Behind the sigmas; 0 for an assumed noise.")
    arc_deg: float = Field(description="Largest span of axis angles within one group [deg].")
    frame_noise_arcsec: float = Field(
        description="Standard error of one frame's pointing per coordinate, as used [arcsec]."
    )
    roll_noise_ratio: float = Field(
        description="Roll noise over that of stars spread evenly over the sensor."
    )
    guided: bool = Field(description="Whether a guider held the field, so that only its rotation counts.")
    lasting: list[LastingTable] | None = Field(
        description="Errors that last from frame to frame, of declination and roll (guided: roll); null for a sweep."
    )
    rotation_less_place_arcmin: Pair | None = Field(
        description="Axis by rotation alone less that by place alone, azimuth on the sky and altitude, where these "
        "contradict each other [arcmin]."
    )
    creep: CreepTable | None = Field(description="What was solved for; null where the frames hide a creep.")

    @classmethod
    def of(cls, result: Measurement) -> Self:
        """Return how a measurement's axis came about."""
        creep = result.creep
        return cls(
            frames_used=len(result.used),
            frames_left_out=len(result.left_out),
            residual_rms_arcsec=result.residual_rms_arcsec,
            degrees_of_freedom=result.fit.degrees_of_freedom,
            arc_deg=result.fit.arc / DEGREE,
            frame_noise_arcsec=result.frame_noise_arcsec,
            roll_noise_ratio=result.fit.roll_ratio,
            guided=result.fit.is_guided,
            lasting=LastingTable.of(result),
            rotation_less_place_arcmin=_contradiction(result),
            creep=CreepTable(arcsec=creep.amount / ARCSEC, sigma_arcsec=creep.sigma / ARCSEC)
            if creep
            else None,
        )


class MeasuredFrame(FrameTable):
    """One file that was offered, and what became of it."""

    group: int | None = Field(description="Group of frames with one camera attitude, counted from 1.")
    axis_angle_deg: float | None = Field(
        description="Rotation about the axis from the upper meridian, growing westward, within +-180 [deg]."
    )
    residual_arcsec: float | None = Field(description="Root mean square over the frame's points [arcsec].")

    @classmethod
    def of_entry(cls, entry: FrameEntry) -> Self:
        """Return one entry."""
        return cls(
            file=entry.name,
            used=entry.used,
            reason=entry.reason,
            mid_exposure_utc=iso_from_utc(entry.utc) if entry.utc else None,
            group=entry.group,
            axis_angle_deg=entry.axis_angle_deg,
            residual_arcsec=entry.residual_arcsec,
        )


class SiteCostTable(Table):
    """How far a wrong site or clock would move the result on the sky."""

    longitude_arcmin_per_deg: float = Field(description="[arcmin/deg]")
    latitude_arcmin_per_deg: float = Field(description="[arcmin/deg]")
    clock_arcmin_per_min: float = Field(description="[arcmin/min]")
    pressure_arcmin_per_10hpa: float = Field(default=0.0, description="For 10 hPa of pressure [arcmin].")
    temperature_arcmin_per_10deg: float = Field(
        default=0.0, description="For 10 deg C of temperature [arcmin]."
    )
    humidity_arcmin_per_half: float = Field(default=0.0, description="For 0.5 of relative humidity [arcmin].")


class NextFrame(Table):
    """The further frame that would narrow the answer most."""

    turn_deg: float = Field(
        description="About the right-ascension axis from where the last used frame was taken, positive westward; "
        "tracking goes on [deg]."
    )
    axis_angle_deg: float = Field(description="Where that is [deg].")
    azimuth_deg: float = Field(
        description="Where the camera then points, from true north through east [deg]."
    )
    altitude_deg: float = Field(description="Where the camera then points [deg].")
    sigma_now_arcmin: float = Field(description="Larger half-axis of the error ellipse now [arcmin].")
    sigma_then_arcmin: float = Field(description="The same with that frame [arcmin].")

    @classmethod
    def of(cls, step: NextStep | None) -> Self | None:
        """Return it, if one would help."""
        return None if step is None else cls.like(step)


class MeasurementSchema(KeptAlignment):
    """The axis error and all that belongs to it."""

    schema_: Literal["polarcheck.measure/1"] = Field(default="polarcheck.measure/1", alias="schema")
    axis: MeasuredAxis
    other_pole: OtherPole
    fit: FitTable
    frames: list[MeasuredFrame] = Field(
        description="Every file that was offered, in order of time, those without time last."
    )
    site_cost: SiteCostTable
    next_frame: NextFrame | None = Field(description="Null where no frame would help.")
    warnings: list[WarningEntry]

    @classmethod
    def of(cls, result: Measurement, kept_in: Path | None = None) -> Self:
        """Return the object of a measurement.

        Parameters
        ----------
        result : Measurement
        kept_in : pathlib.Path, optional
            Folder in which it is kept: there it tells where the last frame lies.
        """
        right_ascension, declination = result.axis_icrs_deg
        return cls(
            **KeptAlignment.about(result.alignment, kept_in),
            axis=MeasuredAxis(
                azimuth_deg=result.axis_azimuth_deg,
                altitude_deg=result.axis_altitude_deg,
                right_ascension_deg=right_ascension,
                declination_deg=declination,
                covariance_arcmin2=(result.fit.covariance / ARCMIN**2).tolist(),
            ),
            other_pole=OtherPole(
                **PoleTable.like(result.other_pole).to_dict(), error=ErrorTable.like(result.other_error)
            ),
            fit=FitTable.of(result),
            frames=[MeasuredFrame.of_entry(entry) for entry in result.entries],
            site_cost=SiteCostTable.like(result.site_cost),
            next_frame=NextFrame.of(result.next_step),
            warnings=[WarningEntry.like(notice) for notice in result.notices],
        )
