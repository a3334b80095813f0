"""Solutions kept: what the solver said, and what was fitted to it, as files beside the frames."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.errors import InputError
from polarcheck.frames import Plate, Solution, SolutionNotes, fit_plate, sensor_grid, write_solution
from polarcheck.solving.one_frame import STAR_SOURCES, Recognised, SolvedFrame, State
from polarcheck.solving.refit import Refitted
from polarcheck.solving.solver import Solver
from polarcheck.vectors import spherical_from_direction

__all__ = ["keep_best", "keep_engine_solution", "place_and_scale"]


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
    middle = np.array([[(solution.width_px - 1) / 2, (solution.height_px - 1) / 2]])
    _, scale, _ = solution.sampled()
    (there,) = solution.icrs_from_pixels(middle)
    lon, lat = (float(angle) / DEGREE for angle in spherical_from_direction(there))
    return (lon % 360, lat), scale


def _engine_plate(seen: Recognised) -> Plate:
    """Return the solver's own solution in our own form."""
    size = (seen.stars.width_px, seen.stars.height_px)
    grid = sensor_grid(*size)
    return fit_plate(grid, seen.match.solution.icrs_from_pixels(grid), *size)


def keep_engine_solution(
    frame: SolvedFrame, seen: Recognised, file: Path, solver: Solver, *, waits: bool = True
) -> SolvedFrame:
    """Write the solver's own solution.

    Parameters
    ----------
    frame : SolvedFrame
        Not solved yet.
    seen : Recognised
    file : pathlib.Path
        Where to.
    solver : Solver
    waits : bool
        Whether to wait until it is on the disk.

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
    write_solution(file, _engine_plate(seen), notes, waits=waits)
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
        stars_from=() if matched is None else (("index", matched),),
    )


def keep_best(frame: SolvedFrame, seen: Recognised, refitted: Refitted | None, solver: Solver) -> SolvedFrame:
    """Write what was fitted, with the solver's own solution beside it; where nothing was, the latter.

    Parameters
    ----------
    frame : SolvedFrame
        With the file that its solution goes to; solved where the solver's own stands there already.
    seen : Recognised
    refitted : Refitted or None
    solver : Solver

    Returns
    -------
    SolvedFrame
        Where the fitted one cannot be written, what stood there stays.
    """
    is_kept = frame.state is State.SOLVED
    try:
        if frame.solution is None:
            return frame
        if refitted is None:
            return keep_engine_solution(frame, seen, frame.solution, solver)
        return _keep_refitted(frame, frame.solution, seen, refitted, solver)
    except InputError as error:
        return frame if is_kept else replace(frame, solution=None, reason=str(error))


def _keep_refitted(
    frame: SolvedFrame, file: Path, seen: Recognised, refitted: Refitted, solver: Solver
) -> SolvedFrame:
    matched, rms = refitted.matched_stars, refitted.residual_rms_px
    said = seen.said
    notes = SolutionNotes(
        solver.engine.name, _engine_plate(seen), matched, rms, _history(refitted), said.utc, said.site
    )
    write_solution(file, refitted.plate, notes)
    matrix = refitted.plate.matrix_deg
    return replace(
        frame,
        state=State.SOLVED,
        engine=solver.engine.name,
        place_deg=refitted.plate.place_deg,
        scale_arcsec=float(np.sqrt(abs(np.linalg.det(matrix)))) * 3600,
        matched_stars=matched,
        residual_rms_px=rms,
        stars_from=refitted.stars_from,
        lens_order=refitted.order,
        lens_frames=refitted.frames,
    )


def _history(refitted: Refitted) -> tuple[str, ...]:
    stars = "; ".join(f"{count} of {STAR_SOURCES.get(name, name)}" for name, count in refitted.stars_from)
    shared = f"one lens of order {refitted.order} for {refitted.frames} frame(s)"
    return (f"Attitude fitted again by polarcheck: {shared}", f"Places of the stars: {stars}")


def _agreement(seen: Recognised) -> tuple[int | None, float | None]:
    """How many stars the solver matched, and how far its solution is from them. [px]"""
    pixels, sky = seen.match.pixels, seen.match.sky
    if pixels is None or sky is None or not len(pixels):
        return None, None
    apart = seen.match.solution.pixels_from_icrs(sky) - pixels
    with np.errstate(over="ignore"):
        rms = float(np.sqrt(np.nanmean(apart**2)))
    return (len(pixels), rms) if np.isfinite(rms) else (None, None)  # a table of no sense tells nothing
