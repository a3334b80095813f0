"""The JSON object of ``polarcheck solve``."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field

from polarcheck.printable import printable
from polarcheck.schema import Schema, Table
from polarcheck.solving.folder import SolvedSet
from polarcheck.solving.one_frame import SolvedFrame

__all__ = ["SolveSchema"]


class SolvedFrameTable(Table):
    """One frame."""

    file: str = Field(description="The frame, printable.")
    state: Literal["solved", "was solved", "unsolved"] = Field(
        description='"was solved": it had a solution and was left alone.'
    )
    solution: str | None = Field(
        description="The file that holds its solution, printable; null where it has none."
    )
    reason: str | None = Field(description="Why it is not solved; null where it is.")
    right_ascension_deg: float | None = Field(description="ICRS, of the sensor's centre [deg].")
    declination_deg: float | None = Field(description="ICRS, of the sensor's centre [deg].")
    scale_arcsec_per_px: float | None = Field(description="At the sensor's centre [arcsec/px].")
    matched_stars: int | None = Field(
        description="Stars that the solution rests on; null where that is not known."
    )
    residual_rms_px: float | None = Field(description="Of these stars, per coordinate [px].")
    seconds: float = Field(description="Time that it took, others beside it [s].")
    engine: str | None = Field(description="What recognised its stars.")
    stars_from: dict[str, int] = Field(
        description="How many of the matched stars have their places from where: Gaia and Hipparcos are moved to the date "
        "by their proper motions, Gaia of 2016 has none, index is the solver's own."
    )

    lens_order: int | None = Field(
        description="Order of the distortion that was fitted, 1 for none; null where the solver's own solution was kept."
    )
    lens_frames: int | None = Field(description="Frames that share that lens; null likewise.")

    @classmethod
    def of(cls, frame: SolvedFrame) -> Self:
        """Return what became of a frame."""
        ra, dec = frame.place_deg or (None, None)
        return cls(
            file=frame.name,
            state=frame.state.value,
            solution=None if frame.solution is None else printable(frame.solution, 4000),
            reason=frame.reason,
            right_ascension_deg=ra,
            declination_deg=dec,
            scale_arcsec_per_px=frame.scale_arcsec,
            matched_stars=frame.matched_stars,
            residual_rms_px=frame.residual_rms_px,
            seconds=round(frame.seconds, 3),
            engine=frame.engine,
            stars_from=dict(frame.stars_from),
            lens_order=frame.lens_order,
            lens_frames=frame.lens_frames,
        )


class SolveSchema(Schema):
    """Which frames were solved, where their solutions are, and why others were not."""

    schema_: Literal["polarcheck.solve/1"] = Field(default="polarcheck.solve/1", alias="schema")
    frames: list[SolvedFrameTable] = Field(description="One entry per frame, in the order of their names.")

    @classmethod
    def of(cls, solved: SolvedSet) -> Self:
        """Return the object of what became of some frames."""
        return cls(frames=[SolvedFrameTable.of(frame) for frame in solved.frames])
