"""The mark on the sensor, on a terminal."""

from __future__ import annotations

from polarcheck.followup import SensorMark
from polarcheck.report.text.lines import Column, table, wrapped

__all__ = ["mark_text", "shift_words"]

Place = tuple[float, float]


def mark_text(mark: SensorMark) -> str:
    """Return the way of the star in a few lines, or why there is none."""
    target = mark.target
    if target is None:
        return wrapped(f"No mark on the sensor: {mark.reason}.")
    x, y = target.from_px
    head = wrapped(f"Mark on the sensor: watch the star at {_place((x, y))} on {target.file}.")
    rows: list[tuple[str, ...]] = []
    last = target.from_px
    for knob, place in zip(target.knobs, (target.after_first_px, target.to_px), strict=True):
        if place is None:
            rows.append((f"after {knob}:", "off the sensor"))
        else:
            rows.append((f"after {knob}:", _place(place), shift_words(last, place)))
            last = place
    lines = [head, table([Column("", "<"), Column("", "<"), Column("", "<", "below")], rows)]
    if target.reason is not None:
        lines.append(wrapped(f"But {target.reason} (x {target.part_px[0]:.0f}, y {target.part_px[1]:.0f})."))
    lines.append(
        wrapped(
            "Pixels count from 0. Higher x is to the right; higher y is up where the first row is shown at the "
            "bottom, down where it is shown at the top."
        )
    )
    return "\n".join(lines)


def shift_words(before: Place, after: Place) -> str:
    """Return how far a place moves along each axis of the pixels, in words."""
    steps = []
    for axis, a, b in zip("xy", before, after, strict=True):
        pixels = round(b) - round(a)  # so that it fits the places as they are written
        side = "higher" if pixels > 0 else "lower"
        steps.append(f"{abs(pixels)} px to {side} {axis}" if pixels else f"{axis} as it is")
    return ", ".join(steps)


def _place(place: Place) -> str:
    return f"x {place[0]:.0f}, y {place[1]:.0f}"
