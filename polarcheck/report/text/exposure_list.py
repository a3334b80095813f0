"""A list of targets with their longest exposures, on a terminal and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from polarcheck.alignment import Alignment
from polarcheck.errors import Notice
from polarcheck.outlook import TargetExposure
from polarcheck.report.objects import error_object, notice_object, pole_object, site_object
from polarcheck.report.text.drift import after_text, aim_text
from polarcheck.report.text.measurement import wrapped
from polarcheck.times import iso_from_utc

__all__ = ["exposure_list_object", "exposure_list_text"]

_NAME = 24


def exposure_list_text(
    rows: Sequence[TargetExposure],
    alignment: Alignment,
    utc: tuple[float, float],
    guided: bool,
    tolerance_arcsec: float,
) -> str:
    """Return a table, a target a line."""
    how = "guided" if guided else "unguided"
    head = wrapped(
        f"Longest exposures, {how}, from {iso_from_utc(utc)[:19]} UTC, with stars moving at most "
        f"{tolerance_arcsec:.3g} arcsec and the axis {alignment.error.total_arcmin:.2f} arcmin from {aim_text(alignment)}."
    )
    lines = [f"  {'target':<{_NAME}}  altitude   longest      95 %   limited by"]
    lines += [_row(row) for row in rows]
    return "\n".join([head, "", *lines])


def _row(row: TargetExposure) -> str:
    name = row.target.name if len(row.target.name) <= _NAME else row.target.name[: _NAME - 1] + "…"
    exposure = row.exposure
    if exposure is None or row.altitude_deg is None:
        return wrapped(f"{name:<{_NAME}}  {row.reason}", "  ", " " * (_NAME + 4))
    longest = "no limit" if exposure.limit_s is None else after_text(exposure.limit_s)
    sure = "no limit" if exposure.is_endless_95 else "unknown"
    if exposure.limit_s_95 is not None:
        sure = after_text(exposure.limit_s_95)
    return f"  {name:<{_NAME}}  {row.altitude_deg:4.0f} deg {longest:>9} {sure:>9}   {exposure.limited_by}"


def exposure_list_object(
    rows: Sequence[TargetExposure],
    alignment: Alignment,
    utc: tuple[float, float],
    guided: bool,
    tolerance_arcsec: float,
    notices: Sequence[Notice],
) -> dict[str, Any]:
    """Return the object of schema ``polarcheck.exposures/1``."""
    return {
        "schema": "polarcheck.exposures/1",
        "guided": guided,
        "tolerance_arcsec": tolerance_arcsec,
        "start_utc": iso_from_utc(utc),
        "targets": [_object(row) for row in rows],
        **site_object(alignment.sky),
        "pole": pole_object(alignment.pole),
        "error": error_object(alignment.error),
        "warnings": [notice_object(notice) for notice in notices],
    }


def _object(row: TargetExposure) -> dict[str, Any]:
    exposure = row.exposure
    return {
        "name": row.target.name,
        "right_ascension_deg": row.target.ra_deg,
        "declination_deg": row.target.dec_deg,
        "altitude_deg": row.altitude_deg,
        "limit_s": exposure.limit_s if exposure else None,
        "limited_by": exposure.limited_by if exposure else None,
        "limit_s_95": exposure.limit_s_95 if exposure else None,
        "required_total_arcmin": row.required_arcmin,
        "reason": row.reason,
    }
