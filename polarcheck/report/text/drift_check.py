"""Predicted drift beside what a sequence shows, on a terminal."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import PARTS, DriftCheck
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.rounding import with_sigma
from polarcheck.report.text.words import length_in_table, length_text, off_text, plain, signed

__all__ = ["drift_check_text"]

_MOST_ROWS = 24
_TABLE = (
    Column("after"),
    Column("seen\neast"),
    Column("seen\nnorth"),
    Column("predicted\neast"),
    Column("predicted\nnorth"),
    Column("left\neast"),
    Column("left\nnorth"),
    Column("left\nrotation"),
)


def drift_check_text(check: DriftCheck, alignment: Alignment) -> str:
    """Return the whole answer of ``polarcheck drift --check``."""
    tied = f", {check.unsolved} of them tied by their stars" if check.unsolved else ""
    ra, dec = check.target_deg
    head = wrapped(
        f"{len(check.names)} frames over {length_text(float(check.seconds[-1]))}{tied}, of RA, Dec {ra:.4f}, {dec:+.4f} deg, "
        f"against the drift predicted for an axis {off_text(alignment)}."
    )
    return "\n\n".join([head, _table(check), _slopes(check), _rest(check)])


def _table(check: DriftCheck) -> str:
    drift, left = check.predicted, check.left_arcsec
    some = np.unique(np.linspace(0, len(check.names) - 1, min(len(check.names), _MOST_ROWS)).astype(int))
    rows = [
        (
            length_in_table(float(check.seconds[i])),
            *(
                plain(value, 1)
                for value in (*check.seen_arcsec[i, :2], drift.east_arcsec[i], drift.north_arcsec[i])
            ),
            *(signed(value, decimals) for value, decimals in zip(left[i], (2, 2, 1), strict=True)),
        )
        for i in some
    ]
    return wrapped("In arcsec; left is seen minus predicted.") + "\n\n" + table(_TABLE, rows)


def _slopes(check: DriftCheck) -> str:
    columns = (Column("left,\narcsec a minute", "<"), Column(""), Column("", "<"), Column("", "<", "below"))
    rows = []
    for name, slope, sigma in zip(
        PARTS, check.rate_excess_arcsec_per_min, check.rate_excess_sigma, strict=True
    ):
        shown, plus = with_sigma(float(slope), float(sigma))
        sure = "beyond its uncertainty" if name in check.steady_parts else "within its uncertainty"
        rows.append((name, shown, f"± {plus}", sure))
    return table(columns, rows)


def _rest(check: DriftCheck) -> str:
    east, north, rotation = (float(value) for value in check.scatter_arcsec)
    said = (
        f"Without that slope {east:.2f} arcsec remain east-west and {north:.2f} north-south (root mean square), "
        f"{rotation:.1f} in rotation; east-west they span {check.swing_arcsec:.1f}."
    )
    if check.points_to_drive:
        said += (
            " More east-west than north-south points to the drive: its periodic error, or wind on that axis."
        )
    if check.steady_parts:
        said += (
            f" A steady excess in {' and '.join(check.steady_parts)} is what no noise explains: flexure, an axis that "
            "moved since it was measured, or another tracking rate."
        )
    return wrapped(said)
