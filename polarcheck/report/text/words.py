"""The words that all answers share: poles, times, lengths of time, targets, counts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from polarcheck.alignment import Alignment
from polarcheck.printable import printable
from polarcheck.report.text.rounding import with_sigma
from polarcheck.times import iso_from_utc

if TYPE_CHECKING:
    from polarcheck.rig import Rig
    from polarcheck.sky import Target

__all__ = [
    "clock_text",
    "counted",
    "guided_word",
    "length_in_table",
    "length_text",
    "off_text",
    "plain",
    "pole_words",
    "rig_words",
    "short_length",
    "signed",
    "target_text",
    "utc_text",
]


def pole_words(kind: str) -> str:
    """Return what an error refers to."""
    return "the aim for the target" if kind == "target" else f"the {kind} pole"


def rig_words(rig: Rig) -> str:
    """Return which rig file is in use, and why that one."""
    why = "as --rig says" if rig.place == "named" else f"found {rig.place}"
    return f"rig file {printable(rig.path.name)}, {why}"


def off_text(alignment: Alignment) -> str:
    """Return how far the axis is off in all, with sigma where it has one, and from what."""
    error = alignment.error
    shown, plus = with_sigma(error.total_arcmin, error.total_sigma_arcmin)
    said = f"{shown} ± {plus}" if alignment.covariance is not None else f"{error.total_arcmin:.2f}"
    return f"{said} arcmin from {pole_words(alignment.pole_kind)}"


def target_text(target: Target) -> str:
    """Return the target's names, with its place where that is not the name."""
    place = f"{target.ra_deg:.4f}, {target.dec_deg:+.4f}"
    if target.name == place:
        return f"RA, Dec {place} deg"
    inner = target.full_name.removeprefix(target.name).strip(" ()")
    return f"{target.name} ({inner + '; ' if inner else ''}RA, Dec {place} deg)"


def guided_word(guided: bool) -> str:
    """Return ``guided`` or ``unguided``."""
    return "guided" if guided else "unguided"


def counted(count: int, thing: str) -> str:
    """Return a number of things: ``1 frame``, ``7 frames``."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def utc_text(utc: tuple[float, float]) -> str:
    """Return a moment to the second: ``2026-11-14T21:10:00 UTC``."""
    return f"{iso_from_utc(utc)[:19]} UTC"


def clock_text(utc: tuple[float, float], seconds: bool = False) -> str:
    """Return the time of day: ``21:10``, or ``21:10:00``."""
    return iso_from_utc(utc)[11 : 19 if seconds else 16]


def length_text(seconds: float) -> str:
    """Return a length of time: ``45 s``, ``12.5 min``, ``3.2 h``."""
    if seconds < 99.5:
        return f"{seconds:.3g} s"
    if seconds < 99.5 * 60:
        return f"{seconds / 60:.3g} min"
    return f"{seconds / 3600:.3g} h"


def short_length(seconds: float) -> str:
    """Return a length of time in four characters: ``45s``, ``12m``, ``3.2h``; ``-`` without limit, ``.`` where unknown."""
    if math.isnan(seconds):
        return "."
    if math.isinf(seconds):
        return "-"
    if seconds < 9.95:
        return f"{seconds:.1f}s"
    if seconds < 119.5:
        return f"{seconds:.0f}s"
    return f"{seconds / 60:.0f}m" if seconds < 119.5 * 60 else f"{seconds / 3600:.1f}h"


def length_in_table(seconds: float) -> str:
    """Return a length of time whose point stands in line with others': ``45.0 s``, padded to the longest unit."""
    unit, size = ("s", 1.0) if seconds < 99.5 else ("min", 60.0) if seconds < 99.5 * 60 else ("h", 3600.0)
    return f"{seconds / size:.1f} {unit:<3}"


def plain(value: float, decimals: int) -> str:
    """Return a number; never a minus before zero."""
    return f"{round(float(value), decimals) + 0.0:.{decimals}f}"


def signed(value: float, decimals: int = 2) -> str:
    """Return a number with its sign; never a minus before zero."""
    return f"{round(float(value), decimals) + 0.0:+.{decimals}f}"
