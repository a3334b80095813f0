"""The JSON objects of ``polarcheck follow``, and of ``correct`` with its mark on the sensor."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from pydantic import Field

from polarcheck.alignment import AxisTable, FrameTable, KeptAlignment, KeptAxis
from polarcheck.constants import ARCMIN
from polarcheck.followup.axis_now import Followed
from polarcheck.followup.last_frame import SensorMark
from polarcheck.knobs import Correction, CorrectionKeys
from polarcheck.schema import Pair, Table, WarningEntry

__all__ = ["CorrectionSchema", "FollowedSchema", "MarkTable"]

Knob = Literal["azimuth", "altitude"]


class MoveDone(Table):
    """How far the axis moved since the result before."""

    azimuth_arcmin: float = Field(description="About the vertical [arcmin].")
    altitude_arcmin: float = Field(description="[arcmin]")


class ClampShiftTable(Table):
    """What tightening did to the axis: tight minus loose."""

    azimuth_arcmin: float = Field(description="About the vertical [arcmin].")
    altitude_arcmin: float = Field(description="[arcmin]")
    azimuth_sigma_arcmin: float = Field(description="[arcmin]")
    altitude_sigma_arcmin: float = Field(description="[arcmin]")


class FollowedSchema(KeptAlignment):
    """The axis after the knobs were turned."""

    schema_: Literal["polarcheck.follow/1"] = Field(default="polarcheck.follow/1", alias="schema")
    moved: MoveDone
    slip_arcmin: float | None = Field(
        description="Turn about the axis beyond what tracking explains, westward positive; null where tracking is not "
        "said or the camera's stand before is not known [arcmin]."
    )
    clamp_shift: ClampShiftTable | None = Field(description="Null where this follow does not tell it.")
    sees_camera: bool = Field(
        default=False,
        description="Whether these frames would show a bump of declination or a camera that was turned; one frame, or "
        "several at one place, cannot tell that from turns of the knobs.",
    )
    frames: list[FrameTable] = Field(description="The frames in use, then the files that are not.")
    warnings: list[WarningEntry]

    @classmethod
    def of(cls, followed: Followed, kept_in: Path | None = None) -> Self:
        """Return the object of an axis followed.

        Parameters
        ----------
        followed : Followed
        kept_in : pathlib.Path, optional
            Folder in which it is kept: there it tells where the last frame lies.
        """
        alignment, shift = followed.alignment, followed.clamp_shift
        used = [FrameTable.of(frame.name, None, frame.utc) for frame in followed.frames]
        not_used = (*followed.early, *followed.problems)
        left = [FrameTable.of(problem.name, problem.reason, problem.utc) for problem in not_used]
        return cls(
            **KeptAlignment.about(alignment, kept_in),
            axis=KeptAxis(
                **AxisTable.of(alignment).to_dict(),
                covariance_arcmin2=(alignment.steps[-1].covariance / ARCMIN**2).tolist(),
            ),
            moved=MoveDone(
                azimuth_arcmin=followed.moved_azimuth_arcmin, altitude_arcmin=followed.moved_altitude_arcmin
            ),
            slip_arcmin=followed.slip_arcmin,
            clamp_shift=None if shift is None else ClampShiftTable.like(shift),
            sees_camera=followed.sees_camera,
            frames=[*used, *left],
            warnings=[WarningEntry.like(notice) for notice in followed.notices],
        )


class StarTargetTable(Table):
    """Where one star of the last used frame must end up, as if the knobs were turned at its moment."""

    file: str = Field(description="The frame, printable.")
    from_px: Pair = Field(description="Where the star is, x and y: 0-based pixel centres [px].")
    after_first_px: Pair | None = Field(
        description="Where it must be after the first knob; null off the sensor [px]."
    )
    to_px: Pair | None = Field(description="Where it must be after both; null off the sensor [px].")
    reason: str | None = Field(description="What is wrong with it, where it does not stay on the sensor.")
    knobs: list[Knob] = Field(description="In the order in which they are turned.")
    part_on_sensor: Pair = Field(
        description="Share of each knob's move, 0 to 1, up to which the star stays on it."
    )
    part_px: Pair = Field(description="Where it is then [px].")


class MarkTable(Table):
    """The mark on the sensor, or why there is none."""

    star_target: StarTargetTable | None
    star_target_reason: str | None = Field(description="Why there is none; null where there is one.")

    @classmethod
    def of_mark(cls, mark: SensorMark) -> MarkTable:
        """Return a mark."""
        target = None if mark.target is None else StarTargetTable.like(mark.target)
        return MarkTable(star_target=target, star_target_reason=mark.reason)


class CorrectionSchema(CorrectionKeys, MarkTable):
    """The knob moves that bring the axis to the pole, and where a star must go meanwhile."""

    @classmethod
    def of(cls, correction: Correction, mark: SensorMark | None = None) -> Self:
        """Return the object of the moves, with a mark on the sensor if one was asked for."""
        seen = MarkTable.of_mark(mark or SensorMark(None, "nobody asked for it"))
        return cls(**CorrectionKeys.about(correction), **seen.to_dict())
