"""The longest exposure, on a terminal."""

from __future__ import annotations

from polarcheck.alignment import Alignment
from polarcheck.outlook import LONGEST_S, Exposure, Optics, Wanted
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.words import guided_word, length_text, pole_words, target_text, utc_text
from polarcheck.sky import Target

__all__ = ["exposure_text"]

_LIMIT = (Column("", "<"), Column("", "<", "below"))
_BY = {
    "drift": "drift by the misalignment",
    "rotation": "field rotation by the misalignment",
    "refraction": "refraction, which changes while the target crosses the sky",
    "periodic error": "the periodic error of the drive",
}


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
            f"Then a star {_on_sensor(exposure)} has moved by {tolerance}; the largest part of it is "
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


def _on_sensor(exposure: Exposure) -> str:
    """Where on the sensor, by the sky's directions and the distance from the centre."""
    place = exposure.limited_place
    if place is None:
        return "at the centre of the sensor"
    return f"{place.distance_deg:.2g} deg {'-'.join(place.directions)} of the sensor's centre"


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
    said = f"{head} It needs the axis within {need:.3g} arcmin of {aim}; it is {error.total_arcmin:.3g} off"
    if error.total_sigma_arcmin:
        said += f" (at most {error.total_most_arcmin:.3g} with 95 % confidence)"
    spare = wanted.spare_arcmin(error.total_arcmin)
    if spare >= 0:
        said += f": {spare:.3g} arcmin to spare."
    elif exposure.limit_s is None or exposure.limit_s >= wanted.seconds:
        said += ". This axis happens to lie in a direction that allows it all the same."
    else:
        said += f": {-spare:.3g} arcmin too far. See polarcheck correct."
    return wrapped(said)
