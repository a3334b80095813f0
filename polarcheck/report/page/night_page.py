"""A night as one page of HTML that asks for nothing from outside."""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache
from pathlib import Path
from typing import Any

import jinja2
import numpy as np
from markupsafe import Markup

from polarcheck import __version__
from polarcheck.digest import FrameRow, NightDigest, TargetDigest, Tracked
from polarcheck.printable import printable
from polarcheck.report.page import words
from polarcheck.report.page.axis_charts import closer_chart, near_chart, path_chart
from polarcheck.report.page.night_charts import motion_chart, residual_chart
from polarcheck.report.page.sources import METHODS
from polarcheck.report.text.checklist import checklist_steps
from polarcheck.report.text.words import target_text
from polarcheck.vectors import Array

__all__ = ["night_page"]

_TEMPLATES = Path(__file__).parent / "templates"
_MOST_ROWS = 600  # of the table of frames
_LONGEST_TEXT = 1_000_000  # paths of charts; texts of others are cut where they are read
_TOLERANCES_PX = (0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
_MINUTES = (1, 1.5, 2, 2.5, 3, 4, 5, 7, 10, 15, 20, 30, 45, 60, 90, 120, 180, 240, 360)
_EXPOSURES_S = (1, 2, 3, 5, 8, 10, 15, 20, 30, 45, *(60 * minutes for minutes in _MINUTES))
_TOLERANCE_PX, _EXPOSURE_S = 1.0, 120  # where the sliders stand at first
_PARTS = {"sweep": "finding", "follow-up": "after a turn, finding", "target": "target"}


def night_page(night: NightDigest) -> str:
    """Return a night as a page: one file, with pictures, styles and script in it.

    Parameters
    ----------
    night : NightDigest

    Returns
    -------
    str
        HTML. Every text that comes from elsewhere is made printable and escaped.
    """
    style, script = _read("night.css"), _read("night.js")
    return str(
        _environment()
        .get_template("night.html.jinja")
        .render(
            style=_trusted(style),
            script=_trusted(script),
            policy=_policy(style, script),
            version=__version__,
            night=night,
            methods=METHODS,
            **_answer(night),
            **_shown_targets(night),
            **_shown_frames(night),
            steps=[words.flat(step) for step in checklist_steps(night.checklist)],
            set_up_time=words.moment(night.checklist.setup.utc),
        )
    )


def _answer(night: NightDigest) -> dict[str, Any]:
    """The answer, and the charts around it."""
    alignment, last = night.last.alignment, len(night.findings)
    charts = [path_chart(night), closer_chart(night), near_chart(night), residual_chart(night)]
    return {
        "headline": words.headline(alignment, is_so=night.standing == "as found"),
        "times": words.times_of(night),
        "place": words.told_place(night),
        "rows": words.error_rows(alignment),
        "standing": words.standing_text(night),
        "todo": words.todo(night),
        "meaning": words.meaning(night),
        "charts": charts,
        "findings": [
            words.finding_row(i, finding, is_followed=i < last) for i, finding in enumerate(night.findings, 1)
        ],
        "looks": [_look(event) for event in night.looks],
    }


def _look(event: Any) -> dict[str, str]:
    drift = event.drift_arcsec_per_min
    return {
        "time": event.time_utc[11:19],
        "frames": str(event.frames),
        "drift": "unknown" if drift is None else f"{words.plus(drift[0])} east, {words.plus(drift[1])} north",
        "elongation": "unknown" if event.elongation is None else f"{event.elongation:.2f}",
    }


def _shown_targets(night: NightDigest) -> dict[str, Any]:
    """The targets, and the table from which the sliders read."""
    scale = night.optics.pixel_scale_arcsec if night.optics else 1.0
    shown = [
        {
            "name": ("" if told.lights is None else "Field of the frames: ") + target_text(told.target),
            "lights": 0 if told.lights is None else len(told.lights.frames),
            "when": words.moment(told.utc),
            "finding": told.finding,
            "reason": told.reason,
            "seen_reason": told.seen_reason,
            "rows": words.target_rows(told),
            "chart": motion_chart(told, number, scale),
            "limits": _limits(told, scale),
        }
        for number, told in enumerate(night.targets, 1)
    ]
    curves = [
        {kind: _curve(getattr(told, kind), scale) for kind in ("guided", "unguided")}
        for told in night.targets
    ]
    return {
        "targets": shown,
        "curves": {
            "scale": scale,
            "tolerances": _TOLERANCES_PX,
            "exposures": _EXPOSURES_S,
            "targets": curves,
        },
        "first": (_TOLERANCES_PX.index(_TOLERANCE_PX), _EXPOSURES_S.index(_EXPOSURE_S)),
        "scale": f"{scale:.3g}",
        "has_sliders": any(curve["guided"] for curve in curves),
        "lengths": max((len(curve["guided"]["t"]) for curve in curves if curve["guided"]), default=0),
    }


def _limits(told: TargetDigest, scale: float) -> list[dict[str, str]]:
    return [
        {
            "kind": kind,
            "longest": words.limit_words(tracked),
            "sure": words.limit_words(tracked, sure=True),
            "by": words.cause_words(tracked),
            "motion": _motion(tracked, scale),
        }
        for kind, tracked in (("guided", told.guided), ("unguided", told.unguided))
    ]


def _motion(tracked: Tracked | None, scale: float) -> str:
    """The motion in the exposure at which the slider stands first."""
    if tracked is None:
        return "unknown"
    curve = tracked.curve
    if curve.seconds[-1] < _EXPOSURE_S:
        return "the target sets before"
    return f"{float(np.interp(_EXPOSURE_S, curve.seconds, curve.arcsec)) / scale:.2g} px"


def _curve(tracked: Tracked | None, scale: float) -> dict[str, Any] | None:
    if tracked is None:
        return None
    curve = tracked.curve
    return {
        "t": _digits(curve.seconds),
        "m": _digits(curve.arcsec / scale),
        "m95": None if curve.arcsec_95 is None else _digits(curve.arcsec_95 / scale),
    }


def _digits(values: Array) -> list[float | None]:
    """Five digits are enough; beyond any measure is null."""
    return [float(f"{value:.5g}") if np.isfinite(value) else None for value in values]


def _shown_frames(night: NightDigest) -> dict[str, Any]:
    looked = [row for row in night.frames if row.stars is not None]
    return {
        "pictures": [_picture(row) for row in looked],
        "frame_rows": [_frame_row(row) for row in night.frames[:_MOST_ROWS]],
        "frames_more": max(0, len(night.frames) - _MOST_ROWS),
    }


def _picture(row: FrameRow) -> dict[str, Any]:
    seen, picture = row.stars, row.picture
    return {
        "name": row.name,
        "time": words.clock_of(row),
        "part": _part(row),
        "stars": words.star_words(row),
        "reason": "pixels cannot be read" if seen is None or seen.reason is None else seen.reason,
        "picture": picture,
        "data": "" if picture is None else _trusted(base64.b64encode(picture.jpeg).decode("ascii")),
    }


def _part(row: FrameRow) -> str:
    return f"{_PARTS[row.part]} {row.number}" if row.part in _PARTS else "not used"


def _frame_row(row: FrameRow) -> dict[str, str]:
    return {
        "name": row.name,
        "time": words.clock_of(row),
        "part": _part(row),
        "residual": "" if row.residual_arcsec is None else f"{row.residual_arcsec:.2f}",
        "stars": "" if row.stars is None else words.star_words(row),
        "reason": row.reason or "",
    }


def _policy(style: str, script: str) -> str:
    """Nothing from anywhere; this style, this script, and pictures that the page itself holds."""
    hashes = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (style, script))
    return (
        "default-src 'none'; style-src 'sha256-{}'; script-src 'sha256-{}'; img-src data:; base-uri 'none'; "
        "form-action 'none'".format(*hashes)
    )


def _read(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def _trusted(text: str) -> Markup:
    """Text of this package, which is written as it is."""
    return Markup(text)


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: value if hasattr(value, "__html__") else printable(value, _LONGEST_TEXT),
    )
