"""What a command was given as the alignment: frames to measure, a kept result, or two numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from polarcheck.alignment import Alignment
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import InputError, Notice
from polarcheck.measurement.measurement import measure
from polarcheck.site import Site
from polarcheck.sky import Atmosphere, Pole, PoleKind, celestial_pole, standard_atmosphere
from polarcheck.vectors import direction_from_azalt

__all__ = ["Aim", "alignment_from", "given_alignment"]

Aim = Callable[[Site, Atmosphere], Pole]
"""Gives what an error is counted from, once site and air are known."""


_KEEPS_ITS_OWN = Notice(
    "kept-site",
    "A kept result has its own site and air: --site, --pressure and --temperature do nothing here. Measure the "
    "frames again with them.",
)


def alignment_from(
    paths: Sequence[Path],
    *,
    error_arcmin: tuple[float, float] | None = None,
    site: Site | None = None,
    fallback_site: Site | None = None,
    pole: PoleKind | None = None,
    aim: Aim | None = None,
    pressure_hpa: float | None = None,
    temperature_c: float | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Alignment, tuple[Notice, ...]]:
    """Return the alignment that was named, and what to warn of.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        A folder or files of solved frames, or one result kept with ``--out``; empty with `error_arcmin`.
    error_arcmin : tuple of float, optional
        Azimuth and altitude error instead of frames; needs a site. [arcmin]
    site, fallback_site, pressure_hpa, temperature_c, progress
        As for `polarcheck.measure`; a kept result has its own site and air.
    pole : {"refracted", "true"}, optional
        What the error refers to; by default the refracted pole, or a kept result's own.
    aim : callable, optional
        Gives the pole or aim that the error refers to from site and air; goes before `pole`.

    Returns
    -------
    alignment : Alignment
    notices : tuple of Notice

    Raises
    ------
    InputError
        None of the three was given, or two of them.
    """
    if error_arcmin is not None:
        if paths:
            raise InputError("give either frames or a kept result, or --error with --site, not both")
        place = site or fallback_site
        if place is None:
            raise InputError("--error needs a site: give --site LAT,LON")
        kind = pole or "refracted"
        return given_alignment(error_arcmin, place, kind, pressure_hpa, temperature_c, aim), ()
    if not paths:
        raise InputError(
            "give a folder of solved frames, a result kept with --out, or --error AZ,ALT with --site"
        )
    if len(paths) == 1 and paths[0].suffix.lower() == ".json":
        from polarcheck.alignment import read_alignment

        kept = read_alignment(paths[0])
        given = [site, pressure_hpa, temperature_c] != [None, None, None]
        notices = (_KEEPS_ITS_OWN,) if given else ()
        if aim is None and pole is None:
            return kept, notices
        return kept.aimed_at(_pole(aim, pole or "refracted", kept.site, kept.atmosphere)), notices
    result = measure(
        paths,
        site=site,
        fallback_site=fallback_site,
        pole=pole or "refracted",
        pressure_hpa=pressure_hpa,
        temperature_c=temperature_c,
        progress=progress,
    )
    found = result.alignment
    return (found if aim is None else found.aimed_at(aim(found.site, found.atmosphere))), result.notices


def _pole(aim: Aim | None, kind: PoleKind, site: Site, air: Atmosphere) -> Pole:
    return celestial_pole(kind, site, air) if aim is None else aim(site, air)


def given_alignment(
    error_arcmin: tuple[float, float],
    site: Site,
    pole: PoleKind = "refracted",
    pressure_hpa: float | None = None,
    temperature_c: float | None = None,
    aim: Aim | None = None,
) -> Alignment:
    """Return the alignment of a mount whose error is merely said.

    Parameters
    ----------
    error_arcmin : tuple of float
        Azimuth (about the vertical) and altitude, axis minus pole. [arcmin]
    site, pole, pressure_hpa, temperature_c, aim
        As for `alignment_from`.

    Returns
    -------
    Alignment
        Without a covariance.
    """
    air = standard_atmosphere(site.height_m, pressure_hpa, temperature_c)
    origin = _pole(aim, pole, site, air)
    azimuth, altitude = error_arcmin
    axis = direction_from_azalt(
        origin.azimuth_deg * DEGREE + azimuth * ARCMIN, origin.altitude_deg * DEGREE + altitude * ARCMIN
    )
    return Alignment(site, air, origin.kind, axis).aimed_at(origin)
