"""The charts of the axis: its path over the night on plain axes in arcminutes, and the last finding near by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from polarcheck.digest import Finding, NightDigest
from polarcheck.report.page.charts import Chart, Curve, Dot, Label, Sheet, linear_ticks
from polarcheck.report.page.words import plus
from polarcheck.report.text.rounding import with_sigma
from polarcheck.report.text.words import pole_words
from polarcheck.vectors import Array

__all__ = ["closer_chart", "near_chart", "path_chart"]

_WIDE, _HIGH, _MARGIN = 360.0, 330.0, 1.28
_FAR = 3.0  # times the reach of the uncertainty: a pole farther off is not drawn near the finding
_CROWDED = 0.35  # of the first finding's reach
_SIDES = ((0, -12), (0, 13), (1, 0), (-1, 0), (0.9, -9), (-0.9, -9), (0.9, 9), (-0.9, 9))
_LEFT = "Numbers: findings, as in the table below. Dashed: what is left, azimuth and altitude."
_KEY = "Filled: by noise, 68 and 95 %. Dashed: what sag and creep may do."


def path_chart(night: NightDigest) -> Chart:
    """Return the axis at each finding, with the pole at the origin."""
    is_one = len(night.findings) == 1
    return _way(night, 1, "path", "The axis and the pole" if is_one else "The axis over the night")


def closer_chart(night: NightDigest) -> Chart | None:
    """Return the same without the first finding, where that one makes all others crowd at the pole."""
    reach = [math.hypot(*_place(finding)) for finding in night.findings]
    if len(reach) < 3 or max(reach[1:]) > _CROWDED * reach[0]:
        return None
    return _way(night, 2, "closer", "From the second finding on")


def _way(night: NightDigest, first: int, name: str, title: str) -> Chart:
    """The findings from one on, and the two ways left, azimuth and altitude, from the last one to the pole."""
    findings = night.findings[first - 1 :]
    places = [_place(finding) for finding in findings]
    outlines = [_around(finding, finding.outline_95_arcmin) for finding in findings]
    sheet = _square(np.array([(0.0, 0.0), *places, *(point for outline in outlines for point in outline)]))
    curves = [Curve(sheet.path([(0, 0), (places[-1][0], 0), places[-1]]), "legs")]
    curves += [Curve(sheet.path(outline, closed=True), "noise") for outline in outlines]
    curves += [Curve(sheet.path(places), "way")] if len(places) > 1 else []
    dots = [_dot(sheet, (0.0, 0.0), "pole"), *(_dot(sheet, place, "axis") for place in places)]
    description, names = _described(findings, first, is_one=len(night.findings) == 1)
    return _on_axes(
        night,
        Chart(
            sheet,
            name,
            title,
            description,
            description if len(night.findings) == 1 else _LEFT,
            curves=tuple(curves),
            dots=tuple(dots),
            labels=_named(dots, names, _along(sheet, [places, *outlines])),
        ),
    )


def _along(sheet: Sheet, lines: Sequence[Sequence[tuple[float, float]]]) -> list[tuple[float, float]]:
    """Places on the sheet along lines, which names should keep clear of."""
    found = []
    for line in lines:
        for (x, y), (to_x, to_y) in pairwise(line):
            steps = max(
                2, min(60, int(math.hypot(sheet.x(to_x) - sheet.x(x), sheet.y(to_y) - sheet.y(y)) / 5))
            )
            found += [
                (sheet.x(x + (to_x - x) * i / steps), sheet.y(y + (to_y - y) * i / steps))
                for i in range(steps)
            ]
    return found


def _described(findings: Sequence[Finding], first: int, *, is_one: bool) -> tuple[str, list[str]]:
    """All findings in words, and the names of the pole and of each."""
    numbers = range(first, first + len(findings))
    told = [
        _told(finding) if is_one else f"finding {number}: {_told(finding)}"
        for number, finding in zip(numbers, findings, strict=True)
    ]
    return f"Axis minus pole: {'; '.join(told)}.", ["pole", *("axis" if is_one else str(i) for i in numbers)]


def near_chart(night: NightDigest) -> Chart | None:
    """Return the last finding with what makes it unsure; None where nothing is known of that."""
    last = night.last
    x, y = _place(last)
    parts = [part for part in (last.outline_95_arcmin, last.sag_outline_arcmin) if part is not None]
    if not parts:
        return None
    reach = max(float(np.abs(part).max()) for part in parts) + 1e-6
    is_near = math.hypot(x, y) < _FAR * reach
    points = [(x - reach, y - reach), (x + reach, y + reach), *([(0.0, 0.0)] if is_near else [])]
    sheet = _square(np.array(points))
    dots = [_dot(sheet, (x, y), "axis small"), *([_dot(sheet, (0.0, 0.0), "pole")] if is_near else [])]
    note = _KEY if is_near else f"{_KEY} The pole lies outside of this chart."
    return _on_axes(
        night,
        Chart(
            sheet,
            "near",
            "The last finding, near by",
            f"The last finding near by: {_told(last)}. {note}",
            note,
            curves=_regions(sheet, last),
            dots=tuple(dots),
            labels=_named(dots, ["", "pole"][: len(dots)]),
        ),
    )


def _regions(sheet: Sheet, finding: Finding) -> tuple[Curve, ...]:
    kinds = (
        (finding.sag_outline_arcmin, "sag"),
        (finding.outline_95_arcmin, "noise"),
        (finding.outline_68_arcmin, "noise inner"),
    )
    return tuple(
        Curve(sheet.path(_around(finding, outline), closed=True), kind)
        for outline, kind in kinds
        if outline is not None
    )


def _on_axes(night: NightDigest, drawn: Chart) -> Chart:
    """The same with its axes named and divided, in arcminutes."""
    left, right = ("west", "east") if night.last.alignment.site.is_north else ("east", "west")
    sheet = drawn.sheet
    return replace(
        drawn,
        x_title=f"{left} ← azimuth on the sky, arcmin → {right}",
        y_title="altitude, arcmin",
        x_ticks=tuple((sheet.x(v), t) for v, t in linear_ticks(*sheet.x_span)),
        y_ticks=tuple((sheet.y(v), t) for v, t in linear_ticks(*sheet.y_span)),
    )


def _named(
    dots: Sequence[Dot], names: Sequence[str], lines: Sequence[tuple[float, float]] = ()
) -> tuple[Label, ...]:
    """A name beside each dot, on the side where it is farthest from lines, other dots and names."""
    taken = [*lines, *((dot.x, dot.y) for dot in dots)]
    labels = []
    for dot, name in zip(dots, names, strict=True):
        sides = [(dot.x + dx * (6 + 3.2 * len(name)), dot.y + dy) for dx, dy in _SIDES]
        free = [min(math.hypot(x - a, (y - b) * 1.5) for a, b in taken) for x, y in sides]
        x, y = sides[int(np.argmax(free))]
        taken.append((x, y))
        labels.append(Label(x, y + 4, name, "middle", "name"))
    return tuple(labels)


def _dot(sheet: Sheet, place: tuple[float, float], kind: str) -> Dot:
    return Dot(sheet.x(place[0]), sheet.y(place[1]), kind)


def _place(finding: Finding) -> tuple[float, float]:
    """Right and up from the pole: facing either pole, growing azimuth goes to the right. [arcmin]"""
    error = finding.alignment.error
    return error.azimuth_on_sky_arcmin, error.altitude_arcmin


def _around(finding: Finding, outline: Array | None) -> list[tuple[float, float]]:
    x, y = _place(finding)
    return [] if outline is None else [(x + float(dx), y + float(dy)) for dx, dy in outline]


def _told(finding: Finding) -> str:
    error = finding.alignment.error
    unsure = max(error.total_sigma_arcmin, finding.alignment.allowances_arcmin[2])
    total, more = with_sigma(error.total_arcmin, unsure)
    return (
        f"azimuth {plus(error.azimuth_on_sky_arcmin)} on the sky, altitude {plus(error.altitude_arcmin)}, "
        f"{total} ± {more} arcmin from {pole_words(finding.alignment.pole_kind)}"
    )


def _square(points: Array) -> Sheet:
    """A sheet for some points on which an arcminute is as long across as up."""
    left, top, right, bottom = Sheet(_WIDE, _HIGH, (0, 1), (0, 1)).box
    low, high = points.min(axis=0), points.max(axis=0)
    size = np.maximum(high - low, 1e-6)
    unit = _MARGIN * max(size[0] / (right - left), size[1] / (bottom - top))
    half = unit * np.array([right - left, bottom - top]) / 2
    (x_low, y_low), (x_high, y_high) = ((low + high) / 2 + sign * half for sign in (-1, 1))
    return Sheet(_WIDE, _HIGH, (float(x_low), float(x_high)), (float(y_low), float(y_high)))
