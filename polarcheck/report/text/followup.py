"""The axis after the knobs were turned, on a terminal and as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from polarcheck.followup import Followed
from polarcheck.knobs import ClampShift
from polarcheck.report.objects import (
    alignment_keys,
    error_object,
    frame_object,
    notice_object,
    pole_object,
    site_object,
)
from polarcheck.report.text.measurement import error_table, wrapped
from polarcheck.report.text.rounding import with_sigma
from polarcheck.times import iso_from_utc

__all__ = ["followed_object", "followed_text"]


def followed_text(followed: Followed) -> str:
    """Return the whole answer of ``polarcheck follow``."""
    alignment, count = followed.alignment, len(followed.frames)
    frames = "1 frame" if count == 1 else f"{count} frames"
    moved = (
        f"It moved by {followed.moved_azimuth_arcmin:+.2f} arcmin in azimuth and "
        f"{followed.moved_altitude_arcmin:+.2f} in altitude since the result before."
    )
    head = wrapped(f"Polar axis now, from {frames}, as of {iso_from_utc(alignment.steps[-1].utc)[:19]} UTC.")
    left = [wrapped(f"{p.name}: {p.reason}", "  ", "    ") for p in followed.problems if not p.is_sidecar]
    tail = ["", f"Left out: {len(left)}", *left] if left else []
    return "\n".join(
        [
            head,
            "",
            error_table(followed.error, alignment.pole_kind, alignment.site.is_north),
            "",
            wrapped(moved),
            *([_shift_text(followed.clamp_shift)] if followed.clamp_shift else []),
            *tail,
        ]
    )


def followed_object(followed: Followed, kept_in: Path | None = None) -> dict[str, Any]:
    """Return the object of schema ``polarcheck.follow/1``; see `alignment_keys` for `kept_in`."""
    alignment = followed.alignment
    step = alignment.steps[-1]
    return {
        "schema": "polarcheck.follow/1",
        **site_object(alignment.sky),
        "epoch_utc": iso_from_utc(step.utc),
        "pole": pole_object(alignment.pole),
        "axis": {
            "azimuth_deg": step.azimuth_deg,
            "altitude_deg": step.altitude_deg,
            "covariance_arcmin2": alignment_keys(alignment)["history"][-1]["covariance_arcmin2"],
        },
        "error": error_object(followed.error),
        "moved": {
            "azimuth_arcmin": followed.moved_azimuth_arcmin,
            "altitude_arcmin": followed.moved_altitude_arcmin,
        },
        "slip_arcmin": followed.slip_arcmin,
        "clamp_shift": None
        if followed.clamp_shift is None
        else {
            "azimuth_arcmin": followed.clamp_shift.azimuth_arcmin,
            "altitude_arcmin": followed.clamp_shift.altitude_arcmin,
            "azimuth_sigma_arcmin": followed.clamp_shift.azimuth_sigma_arcmin,
            "altitude_sigma_arcmin": followed.clamp_shift.altitude_sigma_arcmin,
        },
        "frames": [
            *(frame_object(f.name, None, iso_from_utc(f.utc)) for f in followed.frames),
            *(
                frame_object(p.name, p.reason, iso_from_utc(p.utc) if p.utc else None)
                for p in followed.problems
            ),
        ],
        "warnings": [notice_object(notice) for notice in followed.notices],
        **alignment_keys(alignment, kept_in),
    }


def _shift_text(shift: ClampShift) -> str:
    azimuth, plus = with_sigma(shift.azimuth_arcmin, shift.azimuth_sigma_arcmin)
    altitude, more = with_sigma(shift.altitude_arcmin, shift.altitude_sigma_arcmin)
    return wrapped(
        f"Tightening shifted the axis: clamp_shift_arcmin = [{azimuth}, {altitude}], sigma {plus} and {more}."
    )
