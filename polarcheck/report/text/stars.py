"""Stars of frames, on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polarcheck.report.text.measurement import in_columns, wrapped
from polarcheck.stars import FrameStars, median_map, star_notices
from polarcheck.vectors import Array

__all__ = ["stars_text"]

_NAME = 22
_MOST_ROWS, _MOST_LEFT = 60, 20


def stars_text(frames: Sequence[FrameStars]) -> str:
    """Return the whole answer of ``polarcheck stars``."""
    measured = [frame for frame in frames if frame.summary]
    lines = [f"  {'frame':<{_NAME}}  stars  FWHM px (arcsec)  elongation  trail, px"]
    lines += [_row(frame) for frame in measured[:_MOST_ROWS]]
    if len(measured) > _MOST_ROWS:
        lines.append(f"  and {len(measured) - _MOST_ROWS} more (all of them with --json)")
    said = [wrapped(notice.text) for notice in star_notices(measured)]
    parts = ["\n".join(lines), _map(measured), *said, _left_out(frames), _legend()]
    return "\n\n".join(part for part in parts if part)


def _row(frame: FrameStars) -> str:
    stars = frame.summary
    assert stars is not None
    name = in_columns(frame.name, _NAME)
    fwhm = "unknown" if stars.fwhm_px is None else f"{stars.fwhm_px:.2f}"
    arcsec = "" if frame.fwhm_arcsec is None else f"({frame.fwhm_arcsec:.2f})"
    elongation = "unknown" if stars.elongation is None else f"{stars.elongation:.2f}"
    none = "none" if stars.agreement is not None else "unknown"
    trail = none if stars.trail_px is None else f"{stars.trail_px:.1f}"
    if stars.trail_px is not None and stars.trail_angle_deg is not None:
        trail += f" at {stars.trail_angle_deg:.0f} deg"
    return f"  {name}  {stars.stars:>5}  {fwhm:>7} {arcsec:>8}  {elongation:>10}  {trail}"


def _map(frames: Sequence[FrameStars]) -> str:
    """FWHM and elongation over the sensor, as medians of the frames."""
    maps = [frame.summary for frame in frames if frame.summary and frame.summary.shaped >= 12]
    if not maps:
        return ""
    fwhm, elongation = (
        median_map([getattr(m, key) for m in maps]) for key in ("map_fwhm_px", "map_elongation")
    )
    lines = ["Over the sensor, first row of pixels at the bottom:", "     FWHM, px" + " " * 22 + "elongation"]
    for row in range(len(fwhm) - 1, -1, -1):
        lines.append("  " + _cells(fwhm[row]) + "       " + _cells(elongation[row]))
    return "\n".join(lines)


def _cells(row: Array) -> str:
    return "".join(f"{'.' if np.isnan(value) else f'{value:.2f}':>7}" for value in row)


def _left_out(frames: Sequence[FrameStars]) -> str:
    left = [frame for frame in frames if frame.summary is None]
    lines = [f"Not measured: {len(left)}"] if left else []
    lines += [wrapped(f"{frame.name}: {frame.reason}", "  ", "    ") for frame in left[:_MOST_LEFT]]
    if len(left) > _MOST_LEFT:
        lines.append(f"  and {len(left) - _MOST_LEFT} more (all of them with --json)")
    return "\n".join(lines)


def _legend() -> str:
    return wrapped(
        "Medians over the stars of a frame, saturated ones and hot pixels left out. Elongation: major over minor axis of "
        "the second moments; trail: the length of an even trail that makes it, where it can be told from none, and its angle "
        "from +x towards +y."
    )
