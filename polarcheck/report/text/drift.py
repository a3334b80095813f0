"""Drift and field rotation, on a terminal."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook import Drift, Rate
from polarcheck.report.text.measurement import pole_words, wrapped
from polarcheck.report.text.rounding import with_sigma
from polarcheck.sky import Target
from polarcheck.times import iso_from_utc

__all__ = ["after_text", "aim_text", "drift_text", "target_text"]

_ROWS = 7
_CAUSES = {
    "azimuth": "azimuth error",
    "altitude": "altitude error",
    "refraction": "refraction",
    "rate": "tracking rate",
}


def target_text(target: Target) -> str:
    """Return the target's name, with its place where that is not the name."""
    place = f"{target.ra_deg:.4f}, {target.dec_deg:+.4f}"
    return f"RA, Dec {place} deg" if target.name == place else f"{target.name} (RA, Dec {place} deg)"


def after_text(seconds: float) -> str:
    """Return a length of time: ``45 s``, ``12.5 min``, ``3.2 h``."""
    if seconds < 99.5:
        return f"{seconds:.3g} s"
    if seconds < 99.5 * 60:
        return f"{seconds / 60:.3g} min"
    return f"{seconds / 3600:.3g} h"


def drift_text(
    drift: Drift, alignment: Alignment, target: Target, utc: tuple[float, float], rate: Rate
) -> str:
    """Return the whole answer of ``polarcheck drift``."""
    head = wrapped(
        f"Drift of {target_text(target)} in the camera from {iso_from_utc(utc)[:19]} UTC, tracked unguided at the "
        f"{rate.title() if rate == 'king' else rate} rate, with the axis {_off(alignment)}."
    )
    return "\n\n".join([head, _track(drift), _rates(drift), _parts(drift, rate)])


def _off(alignment: Alignment) -> str:
    error = alignment.error
    shown, plus = with_sigma(error.total_arcmin, error.total_sigma_arcmin)
    said = f"{shown} ± {plus}" if alignment.covariance is not None else f"{error.total_arcmin:.2f}"
    return f"{said} arcmin from {aim_text(alignment)}"


def aim_text(alignment: Alignment) -> str:
    """Return what the error refers to."""
    return pole_words(alignment.pole_kind)


def _track(drift: Drift) -> str:
    lines = ["     after      east     north     total  rotation   altitude"]
    lines.append("               arcsec    arcsec    arcsec    arcsec        deg")
    for i in np.unique(np.linspace(0, len(drift.seconds) - 1, _ROWS).round().astype(int)):
        east, north = drift.east_arcsec[i], drift.north_arcsec[i]
        lines.append(
            f"{after_text(float(drift.seconds[i])):>10}{_signed(east)}{_signed(north)}{np.hypot(east, north):10.2f}"
            f"{_signed(drift.rotation_arcsec[i])}{drift.altitude_deg[i]:11.1f}"
        )
    if drift.sigma_arcsec is not None:
        east, north, rotation = drift.sigma_arcsec[-1]
        lines.append(f"{'sigma':>10}{east:10.2f}{north:10.2f}{'':10}{rotation:10.2f}   (at the end)")
    return "\n".join(lines)


def _signed(value: float) -> str:
    return f"{round(float(value), 2) + 0.0:+10.2f}"


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
    lines = [f"  of this after {after_text(float(drift.seconds[-1])):<12}east     north  rotation"]
    for cause, name in _CAUSES.items():
        if cause == "rate" and rate == "sidereal":
            continue
        east, north, rotation = drift.causes[cause][-1]  # type: ignore[index]
        lines.append(f"  {name:<18}{_signed(east)}{_signed(north)}{_signed(rotation)}")
    lines.append(
        wrapped("Refraction is what a mount on the pole would show. Unknown here: flexure, wind, the drive.")
    )
    return "\n".join(lines)
