"""The charts of frames and targets: residuals, and motion against exposure."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from polarcheck.digest import FrameRow, NightDigest, TargetDigest
from polarcheck.report.page.charts import Chart, Curve, Sheet, linear_ticks, log_ticks
from polarcheck.report.text.words import counted, length_text
from polarcheck.vectors import Array

__all__ = ["motion_chart", "residual_chart"]

_WIDE, _LOW = 360.0, 220.0
_MOST_STEMS = 400
_TIMES = ((1.0, "1 s"), (10.0, "10 s"), (60.0, "1 min"), (600.0, "10 min"), (3600.0, "1 h"), (21600.0, "6 h"))
_PIXELS = (0.05, 50.0)


def residual_chart(night: NightDigest) -> Chart | None:
    """Return the residual of each frame of the last sweep, in order of time; None without any."""
    measured = [(row.number or 0, row) for row in night.frames if row.residual_arcsec is not None]
    if not measured:
        return None
    sweep = max(number for number, _ in measured)
    rows = [row for number, row in measured if number == sweep]
    rows = rows[-_MOST_STEMS:]
    sizes = np.array([row.residual_arcsec for row in rows], dtype=float)
    mean = float(np.sqrt(np.mean(sizes**2)))
    sheet = Sheet(_WIDE, _LOW, (0.3, len(rows) + 0.7), (0.0, 1.2 * max(float(sizes.max()), 0.1)))
    stems = "".join(
        f"M{sheet.x(i):.2f} {sheet.y(0):.2f}V{sheet.y(size):.2f}" for i, size in enumerate(sizes, 1)
    )
    every = max(1, -(-len(rows) // 12))
    whole = [(float(i), str(i)) for i in range(every, len(rows) + 1, every)]
    said = f"Root mean square {mean:.2f} arcsec over {counted(len(rows), 'frame')}. {_largest(rows)}"
    return Chart(
        sheet,
        "residuals",
        f"Residuals of the frames of finding {sweep}",
        said,
        f"{said} Dashed: the root mean square.",
        "frame, in order of time",
        "residual, arcsec",
        tuple((sheet.x(v), t) for v, t in whole),
        tuple((sheet.y(v), t) for v, t in linear_ticks(*sheet.y_span, 4)),
        (
            Curve(stems, "stems" if len(rows) <= 60 else "stems thin"),
            Curve(sheet.path([(sheet.x_span[0], mean), (sheet.x_span[1], mean)]), "legs"),
        ),
    )


def _largest(rows: Sequence[FrameRow]) -> str:
    largest = max(rows, key=lambda row: row.residual_arcsec or 0.0)
    return f"Largest: {largest.name}, {largest.residual_arcsec:.2f} arcsec."


def motion_chart(told: TargetDigest, number: int, scale_arcsec: float) -> Chart | None:
    """Return the largest motion on the sensor against the length of the exposure; None where it is not known."""
    parts = [
        (kind, tracked)
        for kind, tracked in (("guided", told.guided), ("unguided", told.unguided))
        if tracked is not None
    ]
    if not parts:
        return None
    sheet = Sheet(_WIDE, _LOW + 30, (1.0, 21600.0), _PIXELS, is_log=True)
    curves, said = [], []
    for kind, tracked in parts:
        points = _within(tracked.curve.seconds, tracked.curve.arcsec / scale_arcsec)
        curves.append(Curve(sheet.path(points), kind))
        limit = tracked.exposure.limit_s
        said.append(f"{kind}: {'no limit' if limit is None else length_text(limit)}")
    curves.append(Curve(sheet.path([(1.0, 1.0), (21600.0, 1.0)]), "legs", f"tolerance-{number}"))
    description = f"It grows with the exposure and reaches one pixel after: {', '.join(said)}."
    return Chart(
        sheet,
        f"motion-{number}",
        "Largest motion on the sensor",
        description,
        description,
        "length of the exposure",
        "motion, px",
        tuple((sheet.x(v), t) for v, t in _TIMES),
        tuple((sheet.y(v), t) for v, t in log_ticks(*_PIXELS)),
        tuple(curves),
    )


def _within(seconds: Array, pixels: Array) -> list[tuple[float, float]]:
    """The part of a curve that lies in the chart; where it leaves it, as far as its edge."""
    low, high = _PIXELS
    seen = np.flatnonzero((pixels >= low) & (pixels <= high))
    if not len(seen):
        return []
    first, last = int(seen[0]), int(seen[-1])
    points = [(float(seconds[i]), float(pixels[i])) for i in range(first, last + 1)]
    if last + 1 < len(pixels) and np.isfinite(pixels[last + 1]) and pixels[last] > 0:
        share = math.log(high / pixels[last]) / math.log(pixels[last + 1] / pixels[last])
        points.append((float(seconds[last] * (seconds[last + 1] / seconds[last]) ** share), high))
    return points
