"""A list of targets with their longest exposures, on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from polarcheck.alignment import Alignment
from polarcheck.outlook import TargetExposure
from polarcheck.report.text.lines import Column, named_line, table, wrapped
from polarcheck.report.text.words import guided_word, length_in_table, off_text, utc_text

__all__ = ["exposure_list_text"]

_COLUMNS = (
    Column("target", "<", "clip"),
    Column("altitude\ndeg", narrow="drop"),
    Column("longest"),
    Column("95 %"),
    Column("limited by", "<", "below"),
)


def exposure_list_text(
    rows: Sequence[TargetExposure],
    alignment: Alignment,
    utc: tuple[float, float],
    guided: bool,
    tolerance_arcsec: float,
) -> str:
    """Return a table, a target a line."""
    head = wrapped(
        f"Longest exposures, {guided_word(guided)}, from {utc_text(utc)}, with stars moving at most "
        f"{tolerance_arcsec:.3g} arcsec and the axis {off_text(alignment)}."
    )
    possible = [row for row in rows if row.exposure is not None and row.altitude_deg is not None]
    others = [named_line(row.target.full_name, str(row.reason)) for row in rows if row not in possible]
    parts = [head, table(_COLUMNS, [_row(row) for row in possible]) if possible else ""]
    parts.append("\n".join(["Not possible:", *others]) if others else "")
    return "\n\n".join(part for part in parts if part)


def _row(row: TargetExposure) -> tuple[str, ...]:
    exposure = row.exposure
    assert exposure is not None
    longest = "no limit" if exposure.limit_s is None else length_in_table(exposure.limit_s)
    sure = "no limit" if exposure.is_endless_95 else "unknown"
    if exposure.limit_s_95 is not None:
        sure = length_in_table(exposure.limit_s_95)
    return row.target.full_name, f"{row.altitude_deg:.0f}", longest, sure, exposure.limited_by
