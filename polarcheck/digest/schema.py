"""The JSON object of ``polarcheck report``."""

from __future__ import annotations

from typing import Literal, Self

import numpy as np
from pydantic import Field

from polarcheck import __version__
from polarcheck.alignment import AirTable, ErrorTable, PoleTable, SiteTable
from polarcheck.digest.frame_rows import FrameRow
from polarcheck.digest.night_digest import Finding, NightDigest
from polarcheck.digest.targets import TargetDigest, Tracked
from polarcheck.followup import CorrectionSchema
from polarcheck.outlook import DriftCheck, Optics, RatesTable, ShiftTable, TargetTable
from polarcheck.planning import RoughSchema, Stage
from polarcheck.schema import Pair, Schema, Table, WarningEntry
from polarcheck.times import iso_from_utc
from polarcheck.vectors import Array

__all__ = ["ReportSchema"]

Limit = Literal["drift", "rotation", "refraction", "periodic error", "6 h", "sets"]
_OUTLINE = " Points from the axis: azimuth on the sky, altitude [arcmin]."


class SagTable(Table):
    """What sag and creep of the allowed size may have done."""

    allowance_arcsec: float = Field(description="Turn of the camera against the mount allowed for [arcsec].")
    azimuth_arcmin: float = Field(description="About the vertical [arcmin].")
    altitude_arcmin: float = Field(description="[arcmin]")


class FindingTable(Table):
    """One finding of the axis, and what followed on it."""

    epoch_utc: str = Field(description="Mid-exposure of the last used frame, ISO 8601, UTC.")
    fresh: bool = Field(description="Whether it was measured anew, not followed.")
    frames_used: int = Field(description="Frames in use for it.")
    pole: PoleTable
    error: ErrorTable
    systematic: SagTable | None
    outline_68_arcmin: list[Pair] | None = Field(
        description="Region that holds the axis with 68.27 % by its noise; null without one." + _OUTLINE
    )
    outline_95_arcmin: list[Pair] | None = Field(description="The same with 95 %." + _OUTLINE)
    sag_outline_arcmin: list[Pair] | None = Field(
        description="How far sag and creep may have led it." + _OUTLINE
    )
    advice: CorrectionSchema | None = Field(description="The last advice given on it; null without any.")
    turned: Pair | None = Field(
        description="Turns of the azimuth and the altitude knob after it, net, clockwise positive; null where nobody "
        "said [turn]."
    )
    as_told: bool = Field(description="Whether these were taken as advised, nobody having said otherwise.")

    @classmethod
    def of(cls, finding: Finding) -> Self:
        """Return a finding."""
        step, allowed = finding.step, finding.alignment.systematic
        azimuth, altitude = allowed.half_widths_arcmin(finding.alignment.axis) if allowed else (0.0, 0.0)
        return cls(
            epoch_utc=iso_from_utc(step.utc),
            fresh=step.is_fresh,
            frames_used=step.frames,
            pole=step.result.pole,
            error=step.result.error,
            systematic=SagTable(
                allowance_arcsec=allowed.allowance_arcsec, azimuth_arcmin=azimuth, altitude_arcmin=altitude
            )
            if allowed
            else None,
            outline_68_arcmin=_points(finding.outline_68_arcmin),
            outline_95_arcmin=_points(finding.outline_95_arcmin),
            sag_outline_arcmin=_points(finding.sag_outline_arcmin),
            advice=step.advice,
            turned=None if step.turned is None else list(step.turned),
            as_told=step.as_told,
        )


def _points(outline: Array | None) -> list[Pair] | None:
    return None if outline is None else outline.tolist()


class StarsOfFrame(Table):
    """What the stars of one frame show."""

    stars: int = Field(description="Stars found.")
    fwhm_px: float | None = Field(description="Median width; null where not known [px].")
    fwhm_arcsec: float | None = Field(description="The same on the sky [arcsec].")
    elongation: float | None = Field(description="Median of major over minor axis; null where not known.")
    mount_moved: bool = Field(description="Whether all stars are long alike, as when the mount still moved.")


class ReportFrame(Table):
    """One frame of the night."""

    file: str = Field(description="Its name, printable.")
    mid_exposure_utc: str | None = Field(description="ISO 8601, UTC; null where not known.")
    part: Literal["sweep", "follow-up", "target", "none"] = Field(description="What it was taken for.")
    number: int | None = Field(description="Of the finding or of the target, counted from 1.")
    reason: str | None = Field(description="Why it bears on no finding; null where nobody says.")
    axis_angle_deg: float | None = Field(description="Of a sweep's frame [deg].")
    residual_arcsec: float | None = Field(description="Of a sweep's frame [arcsec].")
    stars: StarsOfFrame | None = Field(description="Null where nobody looked, or pixels cannot be read.")
    stars_reason: str | None = Field(description="Why its stars could not be measured.")

    @classmethod
    def of(cls, row: FrameRow) -> Self:
        """Return a frame."""
        seen = row.stars
        return cls(
            file=row.name,
            mid_exposure_utc=row.time_utc,
            part=row.part,
            number=row.number,
            reason=row.reason,
            axis_angle_deg=row.axis_angle_deg,
            residual_arcsec=row.residual_arcsec,
            stars=StarsOfFrame(
                stars=seen.summary.stars,
                fwhm_px=seen.summary.fwhm_px,
                fwhm_arcsec=seen.fwhm_arcsec,
                elongation=seen.summary.elongation,
                mount_moved=seen.summary.has_moved,
            )
            if seen and seen.summary
            else None,
            stars_reason=seen.reason if seen else None,
        )


class OpticsTable(Table):
    """What the camera sees."""

    source: Literal["rig file", "frames"]
    pixel_scale_arcsec: float = Field(description="At the centre [arcsec/px].")
    width_px: int = Field(description="[px]")
    height_px: int = Field(description="[px]")

    @classmethod
    def of(cls, optics: Optics | None, source: Literal["rig file", "frames"] | None) -> Self | None:
        """Return optics, where they are known."""
        if optics is None or source is None:
            return None
        return cls(
            source=source,
            pixel_scale_arcsec=optics.pixel_scale_arcsec,
            width_px=optics.width_px,
            height_px=optics.height_px,
        )


class MotionPoint(Table):
    """The largest motion on the sensor by the end of an exposure."""

    t_s: float = Field(description="Length of the exposure [s].")
    motion_arcsec: float | None = Field(
        description="Of the star that moves most, with the axis as found; null beyond any measure [arcsec]."
    )
    motion_95_arcsec: float | None = Field(
        description="What 95 of 100 axes drawn from the covariance stay below; null without one [arcsec]."
    )


class TrackedTable(Table):
    """Exposures of a target."""

    tolerance_arcsec: float = Field(description="Motion that is tolerated: one pixel at the centre [arcsec].")
    limit_s: float | None = Field(description="Longest exposure; null without a limit [s].")
    limited_by: Limit
    limit_s_95: float | None = Field(description="What holds with 95 % confidence; null where not known [s].")
    available_s: float = Field(description="Until the target sets, at most 6 h [s].")
    motion: list[MotionPoint] = Field(description="For other tolerances and lengths: read between the rows.")

    @classmethod
    def of(cls, tracked: Tracked | None) -> Self | None:
        """Return what is known of exposures."""
        if tracked is None:
            return None
        exposure, curve = tracked.exposure, tracked.curve
        sure = curve.arcsec_95 if curve.arcsec_95 is not None else np.full(len(curve.seconds), np.inf)
        rows = zip(curve.seconds, curve.arcsec, sure, strict=True)
        return cls(
            tolerance_arcsec=exposure.tolerance_arcsec,
            limit_s=exposure.limit_s,
            limited_by=exposure.limited_by,
            limit_s_95=exposure.limit_s_95,
            available_s=exposure.available_s,
            motion=[
                MotionPoint(t_s=t, motion_arcsec=_known(size), motion_95_arcsec=_known(most))
                for t, size, most in rows
            ],
        )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


class DriftTable(Table):
    """A predicted drift, unguided."""

    rates: RatesTable = Field(description="At the start.")
    rates_sigma: RatesTable | None = Field(description="By the axis' covariance; null without one.")
    duration_s: float = Field(description="Over which the end counts [s].")
    end: ShiftTable = Field(description="Where the star is then, and how the field has turned.")


class SeenTable(Table):
    """What the frames of a target show beside the prediction."""

    frames: int = Field(description="Frames of it that were looked at.")
    duration_s: float = Field(description="From first to last mid-exposure [s].")
    rates_arcsec_per_min: ShiftTable = Field(description="Seen; the keys' arcsec are arcsec/min here.")
    excess_per_min: ShiftTable = Field(
        description="Seen minus predicted; the keys' arcsec are arcsec/min here."
    )
    excess_per_min_sigma: ShiftTable = Field(description="Standard error of that [arcsec/min].")
    guided: bool = Field(description="Whether the field stood still although the axis would make it drift.")

    @classmethod
    def of(cls, seen: DriftCheck | None) -> Self | None:
        """Return what was seen."""
        if seen is None:
            return None
        return cls(
            frames=len(seen.names),
            duration_s=float(seen.seconds[-1]),
            rates_arcsec_per_min=ShiftTable.of(seen.rates_arcsec_per_min),
            excess_per_min=ShiftTable.of(seen.rate_excess_arcsec_per_min),
            excess_per_min_sigma=ShiftTable.of(seen.rate_excess_sigma),
            guided=seen.is_guided,
        )


class ReportTarget(Table):
    """One target."""

    target: TargetTable
    start_utc: str = Field(description="From when on, ISO 8601, UTC.")
    light_frames: int = Field(description="Frames of it in the folder.")
    finding: int = Field(description="Number of the finding whose axis counts, from 1.")
    reason: str | None = Field(description="Why there is no prediction; null where there is one.")
    drift: DriftTable | None
    unguided: TrackedTable | None = Field(description="Null without optics, or with a reason.")
    guided: TrackedTable | None = Field(description="Null without optics, or with a reason.")
    seen: SeenTable | None = Field(description="Null without frames that can be compared.")
    seen_reason: str | None = Field(description="Why its frames cannot be compared.")

    @classmethod
    def of(cls, told: TargetDigest) -> Self:
        """Return a target."""
        return cls(
            target=TargetTable.of(told.target),
            start_utc=iso_from_utc(told.utc),
            light_frames=len(told.lights.frames) if told.lights else 0,
            finding=told.finding,
            reason=told.reason,
            drift=_drift(told),
            unguided=TrackedTable.of(told.unguided),
            guided=TrackedTable.of(told.guided),
            seen=SeenTable.of(told.seen),
            seen_reason=told.seen_reason,
        )


def _drift(told: TargetDigest) -> DriftTable | None:
    drift = told.drift
    if drift is None:
        return None
    end = np.array([drift.east_arcsec[-1], drift.north_arcsec[-1], drift.rotation_arcsec[-1]])
    return DriftTable(
        rates=RatesTable.like(drift.rates),
        rates_sigma=None if drift.rates_sigma is None else RatesTable.like(drift.rates_sigma),
        duration_s=float(drift.seconds[-1]),
        end=ShiftTable.of(end),
    )


class LookTable(Table):
    """A look at frames of the target while the mount tracked."""

    time_utc: str = Field(description="When it was written down, ISO 8601, UTC.")
    frames: int = Field(description="Frames that were looked at.")
    drift_arcsec_per_min: Pair | None = Field(description="Seen east and north [arcsec/min].")
    elongation: float | None = Field(description="Median, major over minor axis; null where not known.")


class RefusalTable(Table):
    """Frames that gave no honest result."""

    time_utc: str = Field(description="When it was written down, ISO 8601, UTC.")
    inputs: list[str] = Field(description="Frames or folders that were offered, printable.")
    reason: str = Field(description="Why, printable.")


class ReportSchema(Schema):
    """A whole night: what was found and done, its frames, its targets, its set-up."""

    schema_: Literal["polarcheck.report/1"] = Field(default="polarcheck.report/1", alias="schema")
    version: str = Field(description="Of polarcheck.")
    folder: str = Field(description="Its name, printable.")
    source: Literal["night file", "frames"] = Field(
        description="Whether the night was remembered, or its frames were measured for this."
    )
    site: SiteTable
    atmosphere: AirTable
    standing: Literal["as found", "turned since", "moved since"] = Field(
        description="Whether the last finding still says how the mount stands."
    )
    turned_since: Pair | None = Field(
        description="Turns of the azimuth and the altitude knob since then, clockwise positive [turn]."
    )
    findings: list[FindingTable] = Field(description="In order; the last one is the answer.")
    correction: CorrectionSchema | None = Field(
        description="What is left to do; null where the mount no longer stands as found."
    )
    optics: OpticsTable | None = Field(description="Null where neither rig file nor frames tell.")
    targets: list[ReportTarget]
    frames: list[ReportFrame] = Field(description="In order of time, those without time last.")
    looks: list[LookTable]
    refusals: list[RefusalTable]
    set_up: RoughSchema = Field(
        description="Set-up numbers as of the last daylight before the night; as of its first finding where there was none."
    )
    checklist: list[Stage] = Field(description="Steps of the set-up, in order.")
    warnings: list[WarningEntry]

    @classmethod
    def of(cls, digest: NightDigest) -> Self:
        """Return the object of a night.

        Parameters
        ----------
        digest : NightDigest
        """
        sky, correction = digest.last.alignment.sky, digest.correction
        return cls(
            version=__version__,
            folder=digest.folder,
            source=digest.source,
            site=SiteTable.like(sky.site),
            atmosphere=AirTable.like(sky.air),
            standing=digest.standing,
            turned_since=None if digest.turned_since is None else list(digest.turned_since),
            findings=[FindingTable.of(finding) for finding in digest.findings],
            correction=None if correction is None else CorrectionSchema.of(correction),
            optics=OpticsTable.of(digest.optics, digest.optics_source),
            targets=[ReportTarget.of(told) for told in digest.targets],
            frames=[ReportFrame.of(row) for row in digest.frames],
            looks=[LookTable.like(event) for event in digest.looks],
            refusals=[RefusalTable.like(event) for event in digest.refusals],
            set_up=RoughSchema.of(digest.checklist.setup),
            checklist=list(digest.checklist.stages),
            warnings=[WarningEntry.like(notice) for notice in digest.notices],
        )
