"""Stars of frames, on a terminal and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from polarcheck.frame_stars import FrameStars, median_map
from polarcheck.report.text import wrapped
from polarcheck.vectors import Array

__all__ = ["stars_object", "stars_text"]

_NAME = 22
_MOST_ROWS = 60


def stars_text(frames: Sequence[FrameStars]) -> str:
    """Return the whole answer of ``polarcheck stars``."""
    measured = [frame for frame in frames if frame.summary]
    lines = [f"  {'frame':<{_NAME}}  stars   FWHM, px (arcsec)  elongation  trail, px"]
    lines += [_row(frame) for frame in measured[:_MOST_ROWS]]
    if len(measured) > _MOST_ROWS:
        lines.append(f"  and {len(measured) - _MOST_ROWS} more (all of them with --json)")
    parts = ["\n".join(lines), _map(measured), _moved(measured), _left_out(frames), _legend()]
    return "\n\n".join(part for part in parts if part)


def _row(frame: FrameStars) -> str:
    stars = frame.summary
    assert stars is not None
    name = frame.name if len(frame.name) <= _NAME else "…" + frame.name[-_NAME + 1 :]
    fwhm = "unknown" if stars.fwhm_px is None else f"{stars.fwhm_px:.2f}"
    arcsec = "" if frame.fwhm_arcsec is None else f"({frame.fwhm_arcsec:.2f})"
    elongation = "unknown" if stars.elongation is None else f"{stars.elongation:.2f}"
    trail = "none" if stars.trail_px is None else f"{stars.trail_px:.1f}"
    if stars.trail_px is not None and stars.trail_angle_deg is not None:
        trail += f" at {stars.trail_angle_deg:.0f} deg"
    return f"  {name:<{_NAME}}  {stars.stars:>5}  {fwhm:>9} {arcsec:>8}  {elongation:>10}  {trail}"


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


def _moved(frames: Sequence[FrameStars]) -> str:
    moved = [frame.name for frame in frames if frame.summary and frame.summary.has_moved]
    if not moved:
        return ""
    names = ", ".join(moved[:6]) + (f" and {len(moved) - 6} more" if len(moved) > 6 else "")
    return wrapped(
        f"All stars are long alike in {names}: the mount still moved, or did not track, while it was exposed. Take it "
        "again after the mount has settled; trails over about 8 px shift a plate solution by arcseconds."
    )


def _left_out(frames: Sequence[FrameStars]) -> str:
    left = [frame for frame in frames if frame.summary is None]
    lines = [f"Not measured: {len(left)}"] if left else []
    lines += [wrapped(f"{frame.name}: {frame.reason}", "  ", "    ") for frame in left[:20]]
    return "\n".join(lines)


def _legend() -> str:
    return wrapped(
        "Medians over the stars of a frame, saturated ones and hot pixels left out. Elongation: major over minor axis of "
        "the second moments; trail: the length of an even trail that makes it, where it can be told from none, and its angle "
        "from +x towards +y."
    )


def stars_object(frames: Sequence[FrameStars]) -> dict[str, Any]:
    """Return the object of schema ``polarcheck.stars/1``."""
    return {"schema": "polarcheck.stars/1", "frames": [_object(frame) for frame in frames], "warnings": []}


def _object(frame: FrameStars) -> dict[str, Any]:
    stars = frame.summary
    keys = ("fwhm_px", "elongation", "trail_angle_deg", "trail_px", "agreement")
    return {
        "file": frame.name,
        "stars": 0 if stars is None else stars.stars,
        "shaped_stars": 0 if stars is None else stars.shaped,
        "fwhm_arcsec": frame.fwhm_arcsec,
        **{key: None if stars is None else getattr(stars, key) for key in keys},
        "map_fwhm_px": None if stars is None else _numbers(stars.map_fwhm_px),
        "map_elongation": None if stars is None else _numbers(stars.map_elongation),
        "mount_moved": None if stars is None else stars.has_moved,
        "reason": frame.reason,
    }


def _numbers(grid: Array) -> list[list[float | None]]:
    return [[None if np.isnan(value) else float(value) for value in row] for row in grid]
