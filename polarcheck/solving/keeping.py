"""Solutions kept: what the solver said, and what was fitted to it, as files beside the frames."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.frames import Plate, Solution, SolutionNotes, fit_plate, sensor_grid, write_solution
from polarcheck.solving.one_frame import Recognised, SolvedFrame, State
from polarcheck.solving.solver import Solver
from polarcheck.vectors import spherical_from_direction

__all__ = ["engine_plate", "keep_engine_solution", "place_and_scale"]


def place_and_scale(solution: Solution) -> tuple[tuple[float, float], float]:
    """Return where the centre of an image looks, ICRS [deg], and its pixel scale there [arcsec/px].

    Parameters
    ----------
    solution : Solution

    Returns
    -------
    tuple of float
        Right ascension and declination. [deg]
    float
        [arcsec/px]
    """
    sky, scale, _ = solution.sampled()
    lon, lat = (float(angle) / DEGREE for angle in spherical_from_direction(sky[4]))
    return (lon % 360, lat), scale


def engine_plate(seen: Recognised) -> Plate:
    """Return the solver's own solution in our own form.

    Parameters
    ----------
    seen : Recognised

    Returns
    -------
    Plate
    """
    size = (seen.stars.width_px, seen.stars.height_px)
    grid = sensor_grid(*size)
    return fit_plate(grid, seen.match.solution.icrs_from_pixels(grid), *size)


def keep_engine_solution(frame: SolvedFrame, seen: Recognised, file: Path, solver: Solver) -> SolvedFrame:
    """Write the solver's own solution.

    Parameters
    ----------
    frame : SolvedFrame
        Not solved yet.
    seen : Recognised
    file : pathlib.Path
        Where to.
    solver : Solver

    Returns
    -------
    SolvedFrame

    Raises
    ------
    InputError
        It cannot be written.
    """
    matched, rms = _agreement(seen)
    notes = SolutionNotes(solver.engine.name, None, matched, rms, utc=seen.said.utc, site=seen.said.site)
    write_solution(file, engine_plate(seen), notes)
    place, scale = place_and_scale(seen.match.solution)
    return replace(
        frame,
        state=State.SOLVED,
        solution=file,
        place_deg=place,
        scale_arcsec=scale,
        matched_stars=matched,
        residual_rms_px=rms,
        engine=solver.engine.name,
        stars_from=() if matched is None else (("the index", matched),),
    )


def _agreement(seen: Recognised) -> tuple[int | None, float | None]:
    """How many stars the solver matched, and how far its solution is from them. [px]"""
    pixels, sky = seen.match.pixels, seen.match.sky
    if pixels is None or sky is None or not len(pixels):
        return None, None
    apart = seen.match.solution.pixels_from_icrs(sky) - pixels
    return len(pixels), float(np.sqrt(np.nanmean(apart**2)))
