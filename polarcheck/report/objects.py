"""Results as JSON: which schema belongs to which result.

The schemas stand in their rooms. They are looked up when JSON is asked for, since pydantic takes its time to load and
text needs none of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from polarcheck import digest, followup, measurement, night, outlook, planning, rig, solving, stars

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.errors import Notice
    from polarcheck.knobs import Correction
    from polarcheck.schema import Table
    from polarcheck.sky import Target

__all__ = [
    "correction_object",
    "drift_check_object",
    "drift_object",
    "exposure_list_object",
    "exposure_object",
    "followed_object",
    "json_text",
    "map_object",
    "measurement_object",
    "night_object",
    "plan_object",
    "report_object",
    "rig_object",
    "rough_object",
    "solve_object",
    "stars_object",
    "timeline_object",
    "tracked_plan_object",
]


def json_text(value: Table) -> str:
    """Return an object as readable JSON."""
    return value.to_json()


def measurement_object(
    result: measurement.Measurement, kept_in: Path | None = None
) -> measurement.MeasurementSchema:
    """Return the object of schema ``polarcheck.measure/1``; `kept_in` is the folder where it is kept."""
    return measurement.MeasurementSchema.of(result, kept_in)


def followed_object(followed: followup.Followed, kept_in: Path | None = None) -> followup.FollowedSchema:
    """Return the object of schema ``polarcheck.follow/1``; `kept_in` is the folder where it is kept."""
    return followup.FollowedSchema.of(followed, kept_in)


def correction_object(
    correction: Correction, mark: followup.SensorMark | None = None
) -> followup.CorrectionSchema:
    """Return the object of schema ``polarcheck.correct/1``."""
    return followup.CorrectionSchema.of(correction, mark)


def drift_object(
    drift: outlook.Drift,
    alignment: Alignment,
    target: Target,
    utc: tuple[float, float],
    rate: outlook.Rate,
    notices: Sequence[Notice],
) -> outlook.DriftSchema:
    """Return the object of schema ``polarcheck.drift/1``."""
    return outlook.DriftSchema.of(drift, alignment, target, utc, rate, notices)


def drift_check_object(
    check: outlook.DriftCheck, alignment: Alignment, notices: Sequence[Notice]
) -> outlook.DriftCheckSchema:
    """Return the object of schema ``polarcheck.drift-check/1``."""
    return outlook.DriftCheckSchema.of(check, alignment, notices)


def exposure_object(
    exposure: outlook.Exposure,
    alignment: Alignment,
    target: Target,
    utc: tuple[float, float],
    wanted: outlook.Wanted | None,
    notices: Sequence[Notice],
) -> outlook.ExposureSchema:
    """Return the object of schema ``polarcheck.exposure/1``."""
    asked = None if wanted is None else (wanted.seconds, wanted.total_arcmin)
    return outlook.ExposureSchema.of(exposure, alignment, target, utc, asked, notices)


def exposure_list_object(
    rows: Sequence[outlook.TargetExposure],
    alignment: Alignment,
    utc: tuple[float, float],
    guided: bool,
    tolerance_arcsec: float,
    notices: Sequence[Notice],
) -> outlook.ExposureListSchema:
    """Return the object of schema ``polarcheck.exposures/1``."""
    return outlook.ExposureListSchema.of(rows, alignment, utc, guided, tolerance_arcsec, notices)


def map_object(sky: outlook.SkyMap, alignment: Alignment, notices: Sequence[Notice]) -> outlook.MapSchema:
    """Return the object of schema ``polarcheck.map/1``."""
    return outlook.MapSchema.of(sky, alignment, notices)


def night_object(nights: night.Nights) -> night.NightSchema:
    """Return the object of schema ``polarcheck.night/1``."""
    return night.NightSchema.of(nights)


def timeline_object(
    line: outlook.Timeline, alignment: Alignment, target: Target, notices: Sequence[Notice]
) -> outlook.TimelineSchema:
    """Return the object of schema ``polarcheck.timeline/1``."""
    return outlook.TimelineSchema.of(line, alignment, target, notices)


def report_object(night: digest.NightDigest) -> digest.ReportSchema:
    """Return the object of schema ``polarcheck.report/1``."""
    return digest.ReportSchema.of(night)


def rig_object(summary: rig.RigSummary) -> rig.RigSchema:
    """Return the object of schema ``polarcheck.rig/1``."""
    return rig.RigSchema.of(summary)


def solve_object(solved: solving.SolvedSet) -> solving.SolveSchema:
    """Return the object of schema ``polarcheck.solve/1``."""
    return solving.SolveSchema.of(solved)


def stars_object(frames: Sequence[stars.FrameStars]) -> stars.StarsSchema:
    """Return the object of schema ``polarcheck.stars/1``."""
    return stars.StarsSchema.of(frames)


def rough_object(setup: planning.RoughSetup) -> planning.RoughSchema:
    """Return the object of schema ``polarcheck.rough/1``."""
    return planning.RoughSchema.of(setup)


def plan_object(plan: planning.SweepPlan) -> planning.PlanSchema:
    """Return the object of schema ``polarcheck.plan/1``."""
    return planning.PlanSchema.of(plan)


def tracked_plan_object(plan: planning.TrackedPlan) -> planning.TrackedPlanSchema:
    """Return the object of schema ``polarcheck.plan-tracked/1``."""
    return planning.TrackedPlanSchema.of(plan)
