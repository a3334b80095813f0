"""Stars of frames, on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polarcheck.report.text.lines import Column, more_line, named_line, some_of, table, wrapped
from polarcheck.stars import FrameStars, median_map, star_notices
from polarcheck.vectors import Array

__all__ = ["stars_text"]

_MOST_ROWS, _MOST_LEFT = 60, 20
_COLUMNS = (
    Column("frame", "<", "clip"),
    Column("stars"),
    Column("FWHM\npx"),
    Column("FWHM\narcsec", narrow="drop"),
    Column("elongation"),
    Column("trail\npx"),
    Column("angle\ndeg"),
)
_LEGEND = (
    "Medians over the stars of a frame, saturated ones and hot pixels left out. Elongation: major over minor axis of "
    "the second moments; trail: the length of an even trail that makes it, where it can be told from none, and its angle "
    "from +x towards +y."
)


def stars_text(frames: Sequence[FrameStars]) -> str:
    """Return the whole answer of ``polarcheck stars``."""
    measured = [frame for frame in frames if frame.summary]
    rows = [table(_COLUMNS, [_row(frame) for frame in measured[:_MOST_ROWS]])]
    if len(measured) > _MOST_ROWS:
        rows.append(more_line(len(measured) - _MOST_ROWS))
    said = [wrapped(notice.text) for notice in star_notices(measured)]
    parts = ["\n".join(rows), _map(measured), *said, _left_out(frames), wrapped(_LEGEND)]
    return "\n\n".join(part for part in parts if part)


def _row(frame: FrameStars) -> tuple[str, ...]:
    stars = frame.summary
    assert stars is not None
    none = "none" if stars.agreement is not None else "unknown"
    trail = none if stars.trail_px is None else f"{stars.trail_px:.1f}"
    has_angle = stars.trail_px is not None and stars.trail_angle_deg is not None
    return (
        frame.name,
        str(stars.stars),
        "unknown" if stars.fwhm_px is None else f"{stars.fwhm_px:.2f}",
        "" if frame.fwhm_arcsec is None else f"{frame.fwhm_arcsec:.2f}",
        "unknown" if stars.elongation is None else f"{stars.elongation:.2f}",
        trail,
        f"{stars.trail_angle_deg:.0f}" if has_angle else "",
    )


def _map(frames: Sequence[FrameStars]) -> str:
    """FWHM and elongation over the sensor, as medians of the frames."""
    maps = [frame.summary for frame in frames if frame.summary and frame.summary.shaped >= 12]
    if not maps:
        return ""
    parts = [wrapped("Over the sensor, first row of pixels at the bottom:")]
    for key, name in (("map_fwhm_px", "FWHM, px"), ("map_elongation", "elongation")):
        grid = median_map([getattr(m, key) for m in maps])
        columns = [Column(name, "<"), *[Column("")] * grid.shape[1]]
        parts.append(table(columns, [("", *_cells(row)) for row in grid[::-1]]))
    return "\n".join(parts)


def _cells(row: Array) -> list[str]:
    return ["." if np.isnan(value) else f"{value:.2f}" for value in row]


def _left_out(frames: Sequence[FrameStars]) -> str:
    left = [frame for frame in frames if frame.reason is not None]
    lines = [named_line(frame.name, str(frame.reason)) for frame in left]
    return "\n".join([f"Not measured: {len(left)}", *some_of(lines, _MOST_LEFT)]) if left else ""
