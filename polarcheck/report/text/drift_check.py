"""Predicted drift beside what a sequence shows, on a terminal."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import DriftCheck
from polarcheck.report.text.drift import after_text, aim_text
from polarcheck.report.text.measurement import wrapped
from polarcheck.report.text.rounding import with_sigma

__all__ = ["drift_check_text"]

_MOST_ROWS = 24
_SURE = 3.0  # standard errors
_PARTS = ("east", "north", "rotation")


def drift_check_text(check: DriftCheck, alignment: Alignment) -> str:
    """Return the whole answer of ``polarcheck drift --check``."""
    tied = f", {check.unsolved} of them tied by their stars" if check.unsolved else ""
    ra, dec = check.target_deg
    head = wrapped(
        f"{len(check.names)} frames over {after_text(float(check.seconds[-1]))}{tied}, of RA, Dec {ra:.4f}, {dec:+.4f} deg, "
        f"against the drift predicted for an axis {alignment.error.total_arcmin:.2f} arcmin from {aim_text(alignment)}."
    )
    return "\n\n".join([head, _table(check), _slopes(check), _rest(check)])


def _table(check: DriftCheck) -> str:
    drift, left = check.predicted, check.left_arcsec
    lines = ["     after      seen, arcsec     predicted     seen minus predicted"]
    lines.append("              east    north    east    north     east    north  rotation")
    some = np.unique(np.linspace(0, len(check.names) - 1, min(len(check.names), _MOST_ROWS)).astype(int))
    for i in some:
        lines.append(
            f"{after_text(float(check.seconds[i])):>10}{check.seen_arcsec[i, 0]:8.1f}{check.seen_arcsec[i, 1]:9.1f}"
            f"{drift.east_arcsec[i]:8.1f}{drift.north_arcsec[i]:9.1f}"
            f"{left[i, 0]:9.2f}{left[i, 1]:9.2f}{left[i, 2]:10.1f}"
        )
    return "\n".join(lines)


def _slopes(check: DriftCheck) -> str:
    lines = ["  seen minus predicted, arcsec a minute"]
    for name, slope, sigma in zip(
        _PARTS, check.rate_excess_arcsec_per_min, check.rate_excess_sigma, strict=True
    ):
        shown, plus = with_sigma(float(slope), float(sigma))
        sure = "beyond its uncertainty" if abs(slope) > _SURE * sigma else "within its uncertainty"
        lines.append(f"  {name:<10}{shown:>9} ± {plus:<7} {sure}")
    return "\n".join(lines)


def _rest(check: DriftCheck) -> str:
    east, north, rotation = (float(value) for value in check.scatter_arcsec)
    steady = [
        name
        for name, slope, sigma in zip(
            _PARTS, check.rate_excess_arcsec_per_min, check.rate_excess_sigma, strict=True
        )
        if abs(slope) > _SURE * sigma
    ]
    said = (
        f"Without that slope {east:.2f} arcsec remain east-west and {north:.2f} north-south (root mean square), "
        f"{rotation:.1f} in rotation; east-west they span {check.swing_arcsec:.1f}."
    )
    if east > 2 * north and east > 0.3:
        said += (
            " More east-west than north-south points to the drive: its periodic error, or wind on that axis."
        )
    if steady:
        said += (
            f" A steady excess in {' and '.join(steady)} is what no noise explains: flexure, an axis that moved since it "
            "was measured, or another tracking rate."
        )
    return wrapped(said)
