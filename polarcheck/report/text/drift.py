"""Drift and field rotation, on a terminal."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import Drift, Rate
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.words import length_in_table, length_text, off_text, signed, target_text, utc_text
from polarcheck.sky import Target

__all__ = ["drift_text"]

_ROWS = 7
_TRACK = (
    Column("after"),
    Column("east\narcsec"),
    Column("north\narcsec"),
    Column("total\narcsec"),
    Column("rotation\narcsec"),
    Column("altitude\ndeg"),
)
_CAUSES = {
    "azimuth": "azimuth error",
    "altitude": "altitude error",
    "refraction": "refraction",
    "rate": "tracking rate",
}


def drift_text(
    drift: Drift, alignment: Alignment, target: Target, utc: tuple[float, float], rate: Rate
) -> str:
    """Return the whole answer of ``polarcheck drift``."""
    head = wrapped(
        f"Drift of {target_text(target)} in the camera from {utc_text(utc)}, tracked unguided at the "
        f"{rate.title() if rate == 'king' else rate} rate, with the axis {off_text(alignment)}."
    )
    return "\n\n".join([head, _track(drift), _rates(drift), _parts(drift, rate)])


def _track(drift: Drift) -> str:
    rows = [
        _row(drift, i) for i in np.unique(np.linspace(0, len(drift.seconds) - 1, _ROWS).round().astype(int))
    ]
    if drift.sigma_arcsec is not None:
        east, north, rotation = (f"{value:.2f}" for value in drift.sigma_arcsec[-1])
        rows.append(("± at the end", east, north, "", rotation))
    return table(_TRACK, rows)


def _row(drift: Drift, i: int) -> tuple[str, ...]:
    east, north = drift.east_arcsec[i], drift.north_arcsec[i]
    return (
        length_in_table(float(drift.seconds[i])),
        signed(east),
        signed(north),
        f"{np.hypot(east, north):.2f}",
        signed(drift.rotation_arcsec[i]),
        f"{drift.altitude_deg[i]:.1f}" if drift.altitude_deg[i] >= 0 else "set",
    )


def _rates(drift: Drift) -> str:
    rates = drift.rates
    ways = [
        (rates.east_arcsec_per_min, "east", "west"),
        (rates.north_arcsec_per_min, "north", "south"),
    ]
    words = " and ".join(f"{abs(v):.2f} {plus if v >= 0 else minus}" for v, plus, minus in ways)
    turn = rates.rotation_arcsec_per_min
    sense = "north through east" if turn >= 0 else "north through west"
    return wrapped(
        f"At the start the star goes {words} in arcsec a minute, and the field turns by {abs(turn):.2f} arcsec a "
        f"minute, {sense}."
    )


def _parts(drift: Drift, rate: Rate) -> str:
    after = length_text(float(drift.seconds[-1]))
    rows = [
        (name, *(signed(value) for value in drift.causes[cause][-1]))  # type: ignore[index]
        for cause, name in _CAUSES.items()
        if cause != "rate" or rate != "sidereal"
    ]
    columns = [Column(f"of this after {after}", "<"), Column("east"), Column("north"), Column("rotation")]
    foot = "Refraction is what a mount on the pole would show. Unknown here: flexure, wind, the drive."
    return table(columns, rows) + "\n" + wrapped(foot)
