"""The JSON objects of ``polarcheck drift``, ``exposure``, ``map`` and ``timeline``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar, Literal, Self

import numpy as np
from pydantic import Field

from polarcheck.alignment import AirTable, Alignment, AxisTable, ErrorTable, PoleTable, SiteTable
from polarcheck.errors import Notice
from polarcheck.outlook.drift import Drift, Rate
from polarcheck.outlook.drift_check import DriftCheck
from polarcheck.outlook.exposure import Exposure
from polarcheck.outlook.exposure_list import TargetExposure
from polarcheck.outlook.skymap import SkyMap
from polarcheck.outlook.timeline import Timeline
from polarcheck.schema import Grid, Pair, Schema, SparseTable, Table, WarningEntry, cells
from polarcheck.sky import Target
from polarcheck.times import add_seconds, iso_from_utc
from polarcheck.vectors import Array

__all__ = [
    "DriftCheckSchema",
    "DriftSchema",
    "ExposureListSchema",
    "ExposureSchema",
    "MapSchema",
    "RatesTable",
    "ShiftTable",
    "TargetTable",
    "TimelineSchema",
]

Limit = Literal["drift", "rotation", "refraction", "periodic error", "6 h", "sets"]
_LIMITED_BY = "The largest part of the motion then, or what ends the time."
_LIMIT_95 = (
    "The 5th percentile over axes drawn from the covariance; null without one, or without a limit [s]."
)


class AlignmentAnswer(Schema):
    """What every answer about an alignment says first."""

    site: SiteTable
    atmosphere: AirTable
    pole: PoleTable
    error: ErrorTable
    warnings: list[WarningEntry]

    @staticmethod
    def about(alignment: Alignment, notices: Sequence[Notice]) -> dict[str, Any]:
        """Return these keys."""
        return {
            "site": SiteTable.like(alignment.sky.site),
            "atmosphere": AirTable.like(alignment.sky.air),
            "pole": PoleTable.like(alignment.pole),
            "error": ErrorTable.like(alignment.error),
            "warnings": [WarningEntry.like(notice) for notice in notices],
        }


class TargetTable(Table):
    """A place on the sky to image."""

    name: str = Field(description="As it was asked for, printable; the coordinates where it has none.")
    catalogue_name: str | None = Field(
        description="What the catalogue calls it: designations, then its common name; null where it gave coordinates."
    )
    right_ascension_deg: float = Field(description="ICRS [deg].")
    declination_deg: float = Field(description="ICRS [deg].")

    @classmethod
    def of(cls, target: Target) -> Self:
        """Return a target."""
        return cls(
            name=target.name,
            catalogue_name=target.catalogue_name,
            right_ascension_deg=target.ra_deg,
            declination_deg=target.dec_deg,
        )


class TargetAnswer(AlignmentAnswer):
    """What every answer about one target says first."""

    start_utc: str = Field(description="ISO 8601, UTC.")
    target: TargetTable
    axis: AxisTable

    @staticmethod
    def about_target(
        alignment: Alignment, target: Target, utc: tuple[float, float], notices: Sequence[Notice]
    ) -> dict[str, Any]:
        """Return these keys and those of `about`."""
        return {
            **AlignmentAnswer.about(alignment, notices),
            "start_utc": iso_from_utc(utc),
            "target": TargetTable.of(target),
            "axis": AxisTable.of(alignment),
        }


class RatesTable(Table):
    """How fast the star moves in the camera, and the field turns."""

    east_arcsec_per_min: float = Field(description="Along ICRS east, on the sky [arcsec/min].")
    north_arcsec_per_min: float = Field(description="Along ICRS north [arcsec/min].")
    rotation_arcsec_per_min: float = Field(
        description="Of the field, north through east positive [arcsec/min]."
    )


class ShiftTable(Table):
    """A drift and a field rotation, or their uncertainty."""

    east_arcsec: float = Field(description="Along ICRS east, on the sky [arcsec].")
    north_arcsec: float = Field(description="Along ICRS north [arcsec].")
    rotation_arcsec: float = Field(description="Of the field, north through east positive [arcsec].")

    @classmethod
    def of(cls, values: Array) -> Self:
        """Return east, north and rotation, shape (3,)."""
        return cls(
            east_arcsec=float(values[0]), north_arcsec=float(values[1]), rotation_arcsec=float(values[2])
        )


class TrackPoint(ShiftTable):
    """Where the star is in the camera, minus where it was at the start."""

    t_s: float = Field(description="Since the start [s].")
    altitude_deg: float = Field(description="Observed altitude of the target [deg].")


class CausesTable(Table):
    """Where a drift comes from."""

    azimuth: ShiftTable = Field(description="The azimuth error.")
    altitude: ShiftTable = Field(description="The altitude error.")
    refraction: ShiftTable = Field(description="Refraction, as on a mount on the pole.")
    rate: ShiftTable = Field(description="A tracking rate other than the sidereal one.")


class DriftSchema(TargetAnswer):
    """How a target drifts in the camera while a mount with this axis tracks it."""

    schema_: Literal["polarcheck.drift/1"] = Field(default="polarcheck.drift/1", alias="schema")
    rate: Literal["sidereal", "king", "solar", "lunar"] = Field(description="At which the mount tracks.")
    rates: RatesTable = Field(description="At the start.")
    rates_sigma: RatesTable | None = Field(
        description="Of the rates, from the axis' covariance; null without one."
    )
    track: list[TrackPoint] = Field(description="From 0 to the end of the time asked for.")
    end_sigma: ShiftTable | None = Field(
        description="Of the last point, from the axis' covariance; null without one."
    )
    causes: CausesTable = Field(description="Parts of the last point, which add up to it.")

    @classmethod
    def of(
        cls,
        drift: Drift,
        alignment: Alignment,
        target: Target,
        utc: tuple[float, float],
        rate: Rate,
        notices: Sequence[Notice],
    ) -> Self:
        """Return the object of a predicted drift."""
        return cls(
            **TargetAnswer.about_target(alignment, target, utc, notices),
            **cls.own(drift),
            rate=rate,
        )

    @staticmethod
    def own(drift: Drift) -> dict[str, Any]:
        """Return the keys that the result itself tells."""
        return {
            "rates": RatesTable.like(drift.rates),
            "rates_sigma": None if drift.rates_sigma is None else RatesTable.like(drift.rates_sigma),
            "track": _track(drift),
            "end_sigma": None if drift.sigma_arcsec is None else ShiftTable.of(drift.sigma_arcsec[-1]),
            "causes": CausesTable(
                **{cause: ShiftTable.of(parts[-1]) for cause, parts in drift.causes.items()}
            ),
        }


def _track(drift: Drift) -> list[TrackPoint]:
    return [
        TrackPoint(
            t_s=drift.seconds[i],
            east_arcsec=drift.east_arcsec[i],
            north_arcsec=drift.north_arcsec[i],
            rotation_arcsec=drift.rotation_arcsec[i],
            altitude_deg=drift.altitude_deg[i],
        )
        for i in range(len(drift.seconds))
    ]


class SkyPlace(Table):
    """A place on the sky."""

    right_ascension_deg: float = Field(description="ICRS [deg].")
    declination_deg: float = Field(description="ICRS [deg].")


class CheckedFrame(Table):
    """One frame of the sequence."""

    file: str = Field(description="Its name, printable.")
    t_s: float = Field(description="Mid-exposure since the first frame's [s].")
    seen: ShiftTable = Field(description="Since the first frame, from its solution or its stars.")
    predicted: ShiftTable = Field(description="For the axis.")


class DriftCheckSchema(AlignmentAnswer):
    """What an unguided sequence shows beside what the axis predicts."""

    schema_: Literal["polarcheck.drift-check/1"] = Field(default="polarcheck.drift-check/1", alias="schema")
    target: SkyPlace = Field(description="Centre of the first frame.")
    frames: list[CheckedFrame]
    excess_per_min: ShiftTable = Field(
        description="Slope of seen minus predicted; the keys' arcsec are arcsec/min here."
    )
    excess_per_min_sigma: ShiftTable = Field(description="Standard error of that slope [arcsec/min].")
    scatter: ShiftTable = Field(description="Root mean square of what is left without that slope.")
    swing_east_arcsec: float = Field(
        description="Largest less smallest of what is left along right ascension [arcsec]."
    )
    unsolved_frames: int = Field(description="Frames tied to a solved one by their stars.")
    guided: bool = Field(description="Whether the field stood still although the axis would make it drift.")

    @classmethod
    def of(cls, check: DriftCheck, alignment: Alignment, notices: Sequence[Notice]) -> Self:
        """Return the object of a sequence beside its prediction."""
        return cls(
            **AlignmentAnswer.about(alignment, notices),
            **cls.own(check),
        )

    @staticmethod
    def own(check: DriftCheck) -> dict[str, Any]:
        """Return the keys that the result itself tells."""
        right_ascension, declination = check.target_deg
        return {
            "target": SkyPlace(right_ascension_deg=right_ascension, declination_deg=declination),
            "frames": _checked_frames(check),
            "excess_per_min": ShiftTable.of(check.rate_excess_arcsec_per_min),
            "excess_per_min_sigma": ShiftTable.of(check.rate_excess_sigma),
            "scatter": ShiftTable.of(check.scatter_arcsec),
            "swing_east_arcsec": check.swing_arcsec,
            "unsolved_frames": check.unsolved,
            "guided": check.is_guided,
        }


def _checked_frames(check: DriftCheck) -> list[CheckedFrame]:
    drift = check.predicted
    predicted = np.stack([drift.east_arcsec, drift.north_arcsec, drift.rotation_arcsec], axis=-1)
    return [
        CheckedFrame(
            file=name,
            t_s=float(check.seconds[i]),
            seen=ShiftTable.of(check.seen_arcsec[i]),
            predicted=ShiftTable.of(predicted[i]),
        )
        for i, name in enumerate(check.names)
    ]


class RequiredTable(Table):
    """What a wanted exposure takes."""

    total_arcmin: float | None = Field(
        description="Radius around the pole within which any axis allows it: 0 where refraction alone forbids it, "
        "null beyond 600 [arcmin]."
    )


class ExposureSchema(SparseTable, TargetAnswer):
    """The longest exposure for which no star on the sensor moves more than is tolerated."""

    only_if_known: ClassVar[frozenset[str]] = frozenset({"want_s", "required"})

    schema_: Literal["polarcheck.exposure/1"] = Field(default="polarcheck.exposure/1", alias="schema")
    guided: bool = Field(description="Whether a guider holds the guide star still.")
    tolerance_arcsec: float = Field(description="Largest motion that is tolerated [arcsec].")
    limit_s: float | None = Field(
        description="Longest exposure; null where the motion stays below the tolerance as long as it can be exposed [s]."
    )
    limited_by: Limit = Field(description=_LIMITED_BY)
    limit_s_95: float | None = Field(description=_LIMIT_95)
    limited_at_deg: Pair | None = Field(
        description="Where on the sensor the motion reaches the tolerance: east and north of the centre [deg]."
    )
    available_s: float = Field(description="Until the target sets, at most 6 h [s].")
    want_s: float | None = Field(default=None, description="The exposure that was wanted; only with one [s].")
    required: RequiredTable | None = Field(
        default=None, description="What it takes; only with a wanted exposure."
    )

    @classmethod
    def of(
        cls,
        exposure: Exposure,
        alignment: Alignment,
        target: Target,
        utc: tuple[float, float],
        wanted: tuple[float, float | None] | None,
        notices: Sequence[Notice],
    ) -> Self:
        """Return the object of an exposure, and of a wanted one: its length [s] and the largest total error [arcmin]."""
        return cls(
            **TargetAnswer.about_target(alignment, target, utc, notices),
            **cls.own(exposure),
            want_s=wanted and wanted[0],
            required=wanted and RequiredTable(total_arcmin=wanted[1]),
        )

    @staticmethod
    def own(exposure: Exposure) -> dict[str, Any]:
        """Return the keys that the result itself tells."""
        at = exposure.limited_at
        return {
            "guided": exposure.guided,
            "tolerance_arcsec": exposure.tolerance_arcsec,
            "limit_s": exposure.limit_s,
            "limited_by": exposure.limited_by,
            "limit_s_95": exposure.limit_s_95,
            "limited_at_deg": None if at is None else list(at),
            "available_s": exposure.available_s,
        }


class ListedExposure(TargetTable):
    """One target's answer."""

    altitude_deg: float | None = Field(description="Observed, at the start [deg].")
    limit_s: float | None = Field(
        description="Longest exposure; null without a limit, or where there is a reason [s]."
    )
    limited_by: Limit | None = Field(description=_LIMITED_BY)
    limit_s_95: float | None = Field(description=_LIMIT_95)
    required_total_arcmin: float | None = Field(
        description="How near the pole the axis must be for the wanted exposure, where one is wanted [arcmin]."
    )
    reason: str | None = Field(description="Why there is no exposure; null where there is one.")

    @classmethod
    def of_row(cls, row: TargetExposure) -> Self:
        """Return one row of the list."""
        exposure = row.exposure
        return cls(
            name=row.target.name,
            catalogue_name=row.target.catalogue_name,
            right_ascension_deg=row.target.ra_deg,
            declination_deg=row.target.dec_deg,
            altitude_deg=row.altitude_deg,
            limit_s=exposure.limit_s if exposure else None,
            limited_by=exposure.limited_by if exposure else None,
            limit_s_95=exposure.limit_s_95 if exposure else None,
            required_total_arcmin=row.required_arcmin,
            reason=row.reason,
        )


class ExposureListSchema(AlignmentAnswer):
    """The longest exposure of each target of a list."""

    schema_: Literal["polarcheck.exposures/1"] = Field(default="polarcheck.exposures/1", alias="schema")
    guided: bool = Field(description="Whether a guider holds the guide star still.")
    tolerance_arcsec: float = Field(description="Largest motion that is tolerated [arcsec].")
    start_utc: str = Field(description="ISO 8601, UTC.")
    targets: list[ListedExposure]

    @classmethod
    def of(
        cls,
        rows: Sequence[TargetExposure],
        alignment: Alignment,
        utc: tuple[float, float],
        guided: bool,
        tolerance_arcsec: float,
        notices: Sequence[Notice],
    ) -> Self:
        """Return the object of a list of targets."""
        return cls(
            **AlignmentAnswer.about(alignment, notices),
            guided=guided,
            tolerance_arcsec=tolerance_arcsec,
            start_utc=iso_from_utc(utc),
            targets=[ListedExposure.of_row(row) for row in rows],
        )


class MapSchema(AlignmentAnswer):
    """The longest exposure all over the sky: rows of declination, columns of hour angle."""

    schema_: Literal["polarcheck.map/1"] = Field(default="polarcheck.map/1", alias="schema")
    guided: bool = Field(description="Whether a guider holds the guide star still.")
    tolerance_arcsec: float = Field(description="Largest motion that is tolerated [arcsec].")
    hour_angle_deg: list[float] = Field(description="Of the columns, west positive [deg].")
    declination_deg: list[float] = Field(description="Of the rows, of date [deg].")
    limit_s: Grid = Field(
        description="Longest exposure; null without a limit, below an altitude of 5 deg, and behind the rig file's "
        "horizon [s]."
    )
    is_endless: list[list[bool]] = Field(description="Whether 6 h or the setting come first.")
    altitude_deg: Grid = Field(description="Observed [deg].")

    @classmethod
    def of(cls, sky: SkyMap, alignment: Alignment, notices: Sequence[Notice]) -> Self:
        """Return the object of a map."""
        return cls(
            **AlignmentAnswer.about(alignment, notices),
            **cls.own(sky),
        )

    @staticmethod
    def own(sky: SkyMap) -> dict[str, Any]:
        """Return the keys that the result itself tells."""
        return {
            "guided": sky.guided,
            "tolerance_arcsec": sky.tolerance_arcsec,
            "hour_angle_deg": sky.hour_angle_deg.tolist(),
            "declination_deg": sky.declination_deg.tolist(),
            "limit_s": cells(sky.limit_s),
            "is_endless": np.isinf(sky.limit_s).tolist(),
            "altitude_deg": cells(sky.altitude_deg),
        }


class TimelineRow(Table):
    """One moment of the night."""

    utc: str = Field(description="ISO 8601, UTC.")
    altitude_deg: float = Field(description="Observed altitude of the target [deg].")
    hour_angle_deg: float = Field(description="Of the target about the pole, west positive [deg].")
    moon_altitude_deg: float = Field(description="[deg]")
    limit_s: float | None = Field(
        description="Longest exposure that begins then; null without a limit, and where the target is below 5 deg [s]."
    )
    is_endless: bool = Field(description="Whether 6 h or the setting come first.")
    is_hidden: bool = Field(
        description="Whether the target is behind the rig file's horizon; then there is no limit."
    )

    @classmethod
    def of(cls, line: Timeline, i: int) -> Self:
        """Return one row."""
        limit = float(line.limit_s[i])
        return cls(
            utc=iso_from_utc(add_seconds(line.night.dusk, float(line.seconds[i]))),
            altitude_deg=line.altitude_deg[i],
            hour_angle_deg=line.hour_angle_deg[i],
            moon_altitude_deg=line.moon_altitude_deg[i],
            limit_s=limit if np.isfinite(limit) else None,
            is_endless=bool(np.isinf(limit)),
            is_hidden=line.hidden is not None and bool(line.hidden[i]),
        )


class TimelineSchema(AlignmentAnswer):
    """One target over one night, from dusk to dawn."""

    schema_: Literal["polarcheck.timeline/1"] = Field(default="polarcheck.timeline/1", alias="schema")
    target: TargetTable
    dusk_utc: str = Field(description="When the Sun sinks below sun_altitude_deg, ISO 8601, UTC.")
    dawn_utc: str = Field(description="When it rises above, ISO 8601, UTC.")
    sun_altitude_deg: float = Field(description="-18, or -12 where the Sun does not sink as far [deg].")
    moon_lit: float = Field(description="Lit part of the Moon's disc, 0 to 1, in the middle of the night.")
    meridian_utc: str | None = Field(
        description="When the target crosses the upper meridian, ISO 8601, UTC; null where it does not in the dark."
    )
    guided: bool = Field(description="Whether a guider holds the guide star still.")
    tolerance_arcsec: float = Field(description="Largest motion that is tolerated [arcsec].")
    rows: list[TimelineRow]

    @classmethod
    def of(cls, line: Timeline, alignment: Alignment, target: Target, notices: Sequence[Notice]) -> Self:
        """Return the object of a night."""
        return cls(
            **AlignmentAnswer.about(alignment, notices),
            **cls.own(line),
            target=TargetTable.of(target),
        )

    @staticmethod
    def own(line: Timeline) -> dict[str, Any]:
        """Return the keys that the result itself tells."""
        night, meridian = line.night, line.meridian_s
        return {
            "dusk_utc": iso_from_utc(night.dusk),
            "dawn_utc": iso_from_utc(night.dawn),
            "sun_altitude_deg": night.sun_deg,
            "moon_lit": line.moon_lit,
            "meridian_utc": None if meridian is None else iso_from_utc(add_seconds(night.dusk, meridian)),
            "guided": line.guided,
            "tolerance_arcsec": line.tolerance_arcsec,
            "rows": [TimelineRow.of(line, i) for i in range(len(line.seconds))],
        }
