"""The JSON object of ``polarcheck stars``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, Self

from pydantic import Field

from polarcheck.schema import Grid, Schema, Table, WarningEntry, cells
from polarcheck.stars.files import FrameStars, star_notices

__all__ = ["FrameStarsTable", "StarsSchema"]

_MAP = " 3 rows of 4 parts of the sensor, the first row at the lowest y; null without stars there."


class FrameStarsTable(Table):
    """One file's stars."""

    file: str = Field(description="The file, printable.")
    stars: int = Field(description="Stars found, saturated ones included.")
    shaped_stars: int = Field(description="Stars whose shape counts.")
    fwhm_px: float | None = Field(
        description="Median full width at half maximum across the long axis; null where few stars, their scatter, or a "
        "width under 1.6 px leave it open [px]."
    )
    fwhm_arcsec: float | None = Field(description="The same on the sky, where the scale is known [arcsec].")
    elongation: float | None = Field(description="Median of major over minor axis of the second moments.")
    trail_angle_deg: float | None = Field(
        description="Direction that the stars have in common beyond chance, from +x towards +y, within 0 to 180 [deg]."
    )
    trail_px: float | None = Field(
        description="Length of the trail; null where it cannot be told from none [px]."
    )
    agreement: float | None = Field(
        description="How alike the stars' directions are: 1 if all are the same, near 0 at random."
    )
    map_fwhm_px: Grid | None = Field(description="Median width [px]." + _MAP)
    map_elongation: Grid | None = Field(description="Median elongation." + _MAP)
    mount_moved: bool | None = Field(
        description="Whether all stars are long alike, as when the mount still moved."
    )
    reason: str | None = Field(description="Why the file cannot be measured; null where it was.")

    @classmethod
    def of(cls, frame: FrameStars) -> Self:
        """Return what one file's stars show."""
        stars = frame.summary
        same = ("fwhm_px", "elongation", "trail_angle_deg", "trail_px", "agreement")
        return cls(
            file=frame.name,
            stars=0 if stars is None else stars.stars,
            shaped_stars=0 if stars is None else stars.shaped,
            fwhm_arcsec=frame.fwhm_arcsec,
            **{key: getattr(stars, key, None) for key in same},
            map_fwhm_px=None if stars is None else cells(stars.map_fwhm_px),
            map_elongation=None if stars is None else cells(stars.map_elongation),
            mount_moved=None if stars is None else bool(stars.has_moved),
            reason=frame.reason,
        )


class StarsSchema(Schema):
    """Widths, elongations and trails of the stars of some frames."""

    schema_: Literal["polarcheck.stars/1"] = Field(default="polarcheck.stars/1", alias="schema")
    frames: list[FrameStarsTable] = Field(description="One entry per file, in the order of their names.")
    warnings: list[WarningEntry]

    @classmethod
    def of(cls, frames: Sequence[FrameStars]) -> Self:
        """Return the object of what `measure_stars` found."""
        return cls(
            frames=[FrameStarsTable.of(frame) for frame in frames],
            warnings=[WarningEntry.like(notice) for notice in star_notices(frames)],
        )
