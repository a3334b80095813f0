"""A list of targets with their longest exposures, on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from polarcheck.alignment import Alignment
from polarcheck.outlook import TargetExposure
from polarcheck.report.text.drift import after_text, aim_text
from polarcheck.report.text.measurement import wrapped
from polarcheck.times import iso_from_utc

__all__ = ["exposure_list_text"]

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
