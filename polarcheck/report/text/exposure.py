"""The longest exposure, on a terminal."""

from __future__ import annotations

from dataclasses import dataclass

from polarcheck.alignment import Alignment
from polarcheck.outlook import LONGEST_S, Exposure, Optics
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.words import guided_word, length_text, pole_words, target_text, utc_text
from polarcheck.sky import Target

__all__ = ["Wanted", "exposure_text", "place_on_sensor"]

_LIMIT = (Column("", "<"), Column("", "<", "below"))
_BY = {
    "drift": "drift by the misalignment",
    "rotation": "field rotation by the misalignment",
    "refraction": "refraction, which changes while the target crosses the sky",
    "periodic error": "the periodic error of the drive",
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """An exposure that somebody wants, and what it takes.

    Attributes
    ----------
    seconds : float
        [s]
    total_arcmin : float or None
        Largest total error that allows it; None beyond 600. [arcmin]
    """

    seconds: float
    total_arcmin: float | None


def exposure_text(
    exposure: Exposure,
    alignment: Alignment,
    target: Target,
    utc: tuple[float, float],
    optics: Optics,
    wanted: Wanted | None,
) -> str:
    """Return the whole answer of ``polarcheck exposure``."""
    parts = [
        wrapped(f"Exposure of {target_text(target)}, {guided_word(exposure.guided)}, from {utc_text(utc)}."),
        _limit(exposure, optics),
        _wanted(wanted, exposure, alignment) if wanted else "",
        wrapped(
            "Not in these numbers: flexure between guide scope and camera, wind, and the seeing."
            if exposure.guided
            else "Not in these numbers: flexure, wind, and what the drive does beyond the periodic error given."
        ),
    ]
    return "\n\n".join(part for part in parts if part)


def _limit(exposure: Exposure, optics: Optics) -> str:
    tolerance = f"{exposure.tolerance_arcsec:.3g} arcsec ({exposure.tolerance_arcsec / optics.pixel_scale_arcsec:.3g} px)"
    if exposure.limit_s is None:
        end = "for 6 h" if exposure.limited_by == "6 h" else "until the target sets"
        said = f"No limit: {end} ({length_text(exposure.available_s)}) no star on the sensor moves by {tolerance}."
    else:
        said = (
            f"Then a star {place_on_sensor(exposure.limited_at)} has moved by {tolerance}; the largest part of it is "
            f"{_BY[exposure.limited_by]}."
        )
        if exposure.available_s < LONGEST_S:
            said += f" The target sets (5 deg) in {length_text(exposure.available_s)}."
    longest = "no limit" if exposure.limit_s is None else length_text(exposure.limit_s)
    rows = [("longest exposure", longest), ("with 95 % confidence", _sure(exposure))]
    return table(_LIMIT, rows) + "\n\n" + wrapped(said)


def _sure(exposure: Exposure) -> str:
    if exposure.limit_s_95 is not None:
        return length_text(exposure.limit_s_95)
    return "no limit" if exposure.is_endless_95 else "unknown: the axis was given without an uncertainty"


def place_on_sensor(offset: tuple[float, float] | None) -> str:
    """Return where on the sensor, by the sky's directions and the distance from the centre."""
    if offset is None or max(abs(offset[0]), abs(offset[1])) < 1e-9:
        return "at the centre of the sensor"
    east, north = offset
    long, short = max(abs(east), abs(north)), min(abs(east), abs(north))
    ways = [("north" if north > 0 else "south", abs(north)), ("east" if east > 0 else "west", abs(east))]
    kept = [name for name, size in ways if size > 0.2 * long]
    distance = (long**2 + short**2) ** 0.5
    return f"{distance:.2g} deg {'-'.join(kept)} of the sensor's centre"


def _wanted(wanted: Wanted, exposure: Exposure, alignment: Alignment) -> str:
    error = alignment.error
    need = wanted.total_arcmin
    head, aim = f"Wanted: {length_text(wanted.seconds)}.", pole_words(alignment.pole_kind)
    if need is None:
        return wrapped(f"{head} Any axis within 600 arcmin of {aim} allows it.")
    if need == 0:
        return wrapped(
            f"{head} Even an axis on {aim} does not allow it: refraction or the drive alone "
            "move a star by more than is tolerated. Guide, allow more, or expose for less."
        )
    margin = need - error.total_arcmin
    said = f"{head} It needs the axis within {need:.3g} arcmin of {aim}; it is {error.total_arcmin:.3g} off"
    if error.total_sigma_arcmin:
        said += f" (at most {error.total_most_arcmin:.3g} with 95 % confidence)"
    if margin >= 0:
        said += f": {margin:.3g} arcmin to spare."
    elif exposure.limit_s is None or exposure.limit_s >= wanted.seconds:
        said += ". This axis happens to lie in a direction that allows it all the same."
    else:
        said += f": {-margin:.3g} arcmin too far. See polarcheck correct."
    return wrapped(said)
