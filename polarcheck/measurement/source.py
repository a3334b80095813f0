"""What a command was given as the alignment: frames to measure, a kept result, or two numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from polarcheck.alignment import Alignment, read_alignment
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import InputError, Notice
from polarcheck.measurement.conditions import Conditions, Reading
from polarcheck.measurement.measurement import measure
from polarcheck.measurement.result import Measurement
from polarcheck.sky import Pole, PoleKind, Sky
from polarcheck.vectors import direction_from_azalt

__all__ = ["Aim", "FoundAlignment", "alignment_from", "given_alignment"]

Aim = Callable[[Sky], Pole]
"""Gives what an error is counted from, once the sky is known."""


_KEEPS_ITS_OWN = Notice(
    "kept-site",
    "A kept result has its own site and air: what else is said of them does nothing here. Measure the frames again "
    "with it.",
)


@dataclass(frozen=True, slots=True)
class FoundAlignment:
    """The alignment that was named.

    Attributes
    ----------
    alignment : Alignment
    notices : tuple of Notice
        What to warn of.
    measurement : Measurement or None
        What was measured for it; None for a kept result and a stated error.
    """

    alignment: Alignment
    notices: tuple[Notice, ...] = ()
    measurement: Measurement | None = None


def alignment_from(
    paths: Sequence[Path] | Alignment,
    *,
    error_arcmin: tuple[float, float] | None = None,
    conditions: Conditions | None = None,
    pole: PoleKind | None = None,
    aim: Aim | None = None,
    reading: Reading | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> FoundAlignment:
    """Return the alignment that was named.

    Parameters
    ----------
    paths : sequence of pathlib.Path, or Alignment
        A folder or files of solved frames, or one result that was kept; empty with `error_arcmin`.
        Or an Alignment: a kept result that was read before, from a night's file.
    error_arcmin : tuple of float, optional
        Azimuth and altitude error instead of frames; needs a site. [arcmin]
    conditions, reading, progress
        As for `polarcheck.measure`; a kept result has its own site and air.
    pole : {"refracted", "true"}, optional
        What the error refers to; by default the refracted pole, or a kept result's own.
    aim : callable, optional
        Gives the pole or aim that the error refers to from the sky; goes before `pole`.

    Returns
    -------
    FoundAlignment

    Raises
    ------
    InputError
        None of the three was given, or two of them.
    """
    conditions = conditions or Conditions()
    if error_arcmin is not None:
        if paths:
            raise InputError(
                "give either frames or a kept result, or a stated error with its site, not both",
                ["error_arcmin"],
            )
        place = conditions.site or conditions.fallback_site
        if place is None:
            raise InputError("a stated error needs a site: none is known", ["site", "rig"])
        stated = given_alignment(error_arcmin, conditions.sky_over(place), pole or "refracted", aim)
        return FoundAlignment(stated)
    kept = _kept(paths)
    if kept is not None:
        if aim is not None or pole is not None:
            kept = kept.aimed_at(_pole(aim, pole or "refracted", kept.sky))
        return FoundAlignment(kept, (_KEEPS_ITS_OWN,) if conditions.say_something else ())
    if isinstance(paths, Alignment) or not paths:
        raise InputError(
            "give a folder of solved frames, a kept result, or a stated error with its site",
            ["error_arcmin", "site"],
        )
    result = measure(
        paths, pole=pole or "refracted", conditions=conditions, reading=reading, progress=progress
    )
    found = result.alignment if aim is None else result.alignment.aimed_at(aim(result.sky))
    return FoundAlignment(found, result.notices, result)


def _kept(paths: Sequence[Path] | Alignment) -> Alignment | None:
    """Return a result that was read before, or is to be read."""
    if isinstance(paths, Alignment):
        return paths
    is_kept = len(paths) == 1 and paths[0].suffix.lower() == ".json"
    return read_alignment(paths[0]) if is_kept else None


def _pole(aim: Aim | None, kind: PoleKind, sky: Sky) -> Pole:
    return sky.pole(kind) if aim is None else aim(sky)


def given_alignment(
    error_arcmin: tuple[float, float], sky: Sky, pole: PoleKind = "refracted", aim: Aim | None = None
) -> Alignment:
    """Return the alignment of a mount whose error is merely said.

    Parameters
    ----------
    error_arcmin : tuple of float
        Azimuth (about the vertical) and altitude, axis minus pole. [arcmin]
    sky : Sky
        Where, and the air there.
    pole, aim
        As for `alignment_from`.

    Returns
    -------
    Alignment
        Without a covariance.
    """
    origin = _pole(aim, pole, sky)
    azimuth, altitude = error_arcmin
    axis = direction_from_azalt(
        origin.azimuth_deg * DEGREE + azimuth * ARCMIN, origin.altitude_deg * DEGREE + altitude * ARCMIN
    )
    return Alignment(sky, origin.kind, axis).aimed_at(origin)
