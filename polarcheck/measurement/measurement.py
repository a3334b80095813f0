"""A folder of solved frames to the axis error: the main job, end to end.

frames -> observed directions -> axis -> error against the pole, with everything that the reader of the
number must know: what was left out and why, what the sigma does not hold, what a wrong site would cost, and
which frame would help next.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from polarcheck import stars
from polarcheck.alignment import FLEXURE_ARCSEC, Alignment, FrameFile, Step, Systematic
from polarcheck.axis import (
    AxisFit,
    Creep,
    Reach,
    best_next_frame,
    camera_axis,
    flexure_region,
)
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import FitError, GeometryError, Notice
from polarcheck.frames import FrameSet, read_frames, sensor_of
from polarcheck.given import PathLike, SiteLike, as_paths, as_site
from polarcheck.measurement.conditions import Conditions, Reading
from polarcheck.measurement.costs import site_cost
from polarcheck.measurement.fitting import NO_RESULT_ARCMIN, fit_frames
from polarcheck.measurement.plausibility import sun_notice, zone_notice
from polarcheck.measurement.result import Measurement, NextStep
from polarcheck.measurement.sample import Sample, require_two, sample_of, site_of
from polarcheck.measurement.site_votes import site_by_votes
from polarcheck.measurement.sweep_verdicts import creep_notice
from polarcheck.measurement.tracked_verdicts import GUIDED_ADVICE
from polarcheck.measurement.verdicts import FrameEntry, fit_notices, frame_entries, left_out_lines
from polarcheck.site import Site
from polarcheck.sky import PoleKind, Sky
from polarcheck.vectors import azalt_from_direction

__all__ = ["measure", "measure_frames"]


def measure(
    paths: PathLike | Sequence[PathLike],
    *,
    site: SiteLike | None = None,
    pole: PoleKind = "refracted",
    conditions: Conditions | None = None,
    reading: Reading | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Measurement:
    """Measure the axis error from solved frames taken at several right-ascension positions.

    Parameters
    ----------
    paths : path or sequence of paths
        Folders, files or patterns.
    site : Site, or what `polarcheck.given.as_site` takes, optional
        Overrides what the headers say, for example ``(47.3, 11.2)``; short for `conditions` that say nothing else.
    pole : {"refracted", "true"}
        What the error refers to.
    conditions : Conditions, optional
        What is known of place, air and noise.
    reading : Reading, optional
        How files are read: clock, subfolders, stars.
    progress : callable, optional
        Called with the number of files read and of all files.

    Returns
    -------
    Measurement

    Raises
    ------
    InputError
        No files, no site, or a site and clock that contradict the frames.
    GeometryError
        The frames cannot give the axis.
    FitError
        The frames contradict each other.

    Examples
    --------
    >>> from polarcheck import measure
    >>> result = measure("sample_frames/north_sweep")
    >>> f"{result.error.total_arcmin:.0f} arcmin off"
    '20 arcmin off'
    """
    reading = reading or Reading()
    frame_set = read_frames(
        as_paths(paths),
        recursive=reading.recursive,
        clock_ahead_s=reading.clock_ahead_s,
        zone=reading.zone,
        progress=progress,
    )
    notices: tuple[Notice, ...] = ()
    if reading.look_at_stars:
        frame_set, notices = stars.steady_frames(frame_set, progress)
    place = None if site is None else as_site(site)
    result = measure_frames(frame_set, site=place, pole=pole, conditions=conditions)
    return replace(result, notices=(*result.notices, *notices)) if notices else result


def measure_frames(
    frame_set: FrameSet,
    *,
    site: Site | None = None,
    pole: PoleKind = "refracted",
    conditions: Conditions | None = None,
) -> Measurement:
    """Measure the axis error from frames that are already read.

    Parameters
    ----------
    frame_set : FrameSet
        From `polarcheck.read_frames`.
    site, pole, conditions
        As for `measure`.

    Returns
    -------
    Measurement

    Raises
    ------
    InputError, GeometryError
        As `measure`.
    """
    conditions = conditions or Conditions()
    require_two(frame_set)
    place, notices = _place(frame_set, site, conditions)
    sample, refused = sample_of(frame_set, place, conditions.noise_px)
    sky = conditions.sky_over(place)
    target = sky.pole(pole)
    observed = sky.observed(sample.sky, sample.epochs)
    found = fit_frames(sample, observed, target.direction, conditions.frames_guided, refused)
    sample, observed, fit, creep = found.sample, found.observed, found.fit, found.creep
    refused = [*refused, *found.left]
    entries = frame_entries(sample, fit, refused)
    _require_meaning(fit, sky.is_north, entries, conditions.reach)
    systematic = _systematic(sample, fit, creep, conditions.flexure_arcsec)
    alignment = replace(_alignment(sample, fit, sky, pole), systematic=systematic)
    notices += [
        *sample.notices,
        *fit_notices(sample, fit, alignment.error, observed, sky.true_pole.direction),
    ]
    more = [
        creep_notice(creep, systematic.allowance_arcsec * ARCSEC),
        sun_notice(sample.epochs.at(fit.used), place),
        zone_notice([sample.frames[i] for i in np.flatnonzero(fit.used)], place),
    ]
    return Measurement(
        alignment=alignment,
        fit=fit,
        entries=entries,
        notices=(*notices, *(notice for notice in more if notice)),
        frame_noise_arcsec=fit.noise * float(np.median(sample.noise[fit.used])) / ARCSEC,
        creep=creep,
        site_cost=site_cost(sample, fit, sky, pole),
        next_step=_next_step(fit, sky.is_north, conditions.reach),
    )


def _place(frame_set: FrameSet, site: Site | None, conditions: Conditions) -> tuple[Site, list[Notice]]:
    stated = site or conditions.site
    if stated is not None:
        return stated, []
    place, notices = site_of(frame_set.frames, conditions.fallback_site)
    if place is conditions.fallback_site:
        return place, notices
    place, voted = site_by_votes(frame_set.frames, place)
    return place, [*notices, *voted]


def _alignment(sample: Sample, fit: AxisFit, sky: Sky, kind: PoleKind) -> Alignment:
    last = int(np.flatnonzero(fit.used)[-1])
    frame = sample.frames[last]
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(fit.axis))
    return Alignment(
        sky=sky,
        pole_kind=kind,
        axis=fit.axis,
        covariance=fit.covariance,
        degrees_of_freedom=fit.degrees_of_freedom,
        camera=camera_axis(fit, last, frame.pixel_scale_arcsec * ARCSEC),
        sensor=sensor_of(frame),
        last_frame=frame.name,
        last_file=FrameFile((frame.path,), frame.clock_ahead_s, frame.zone),
        is_continuous=last == len(sample.frames) - 1,
        steps=(Step(frame.utc, azimuth, altitude, fit.covariance),),
    )


def _systematic(sample: Sample, fit: AxisFit, creep: Creep | None, told: float | None) -> Systematic:
    size = FLEXURE_ARCSEC if told is None else told
    region = flexure_region(fit, size * ARCSEC, sample.elapsed_s, creep)
    if fit.contradiction is not None:  # the axis may as well lie where the rotation has it
        region = region + np.outer(fit.contradiction, fit.contradiction)
    return Systematic(size, "assumed" if told is None else "rig file", region)


def _require_meaning(fit: AxisFit, north: bool, entries: Sequence[FrameEntry], reach: Reach | None) -> None:
    worst = float(np.sqrt(np.linalg.eigvalsh(fit.covariance)[-1])) / ARCMIN
    if worst <= NO_RESULT_ARCMIN:
        return
    if fit.is_guided:
        raise GeometryError(
            f"these frames leave the axis uncertain by {worst:.0f} arcmin: their field stands still while the sky turns, "
            f"as under a guider. {GUIDED_ADVICE}{left_out_lines(entries)}",
            fit.arc / DEGREE,
            ["frames_guided"],
        )
    if not fit.agrees:
        raise FitError(
            f"the frames contradict each other: they leave the axis uncertain by {worst:.0f} arcmin and scatter "
            f"{fit.noise:.1f} times as much as noise would. The declination or the camera moved between them, frames "
            f"are solved wrongly, or the mount was knocked; take a fresh sweep{left_out_lines(entries)}"
        )
    step = _next_step(fit, north, reach)
    advice = ""
    if step:
        side = "west" if step.turn_deg > 0 else "east"
        advice = f"; of what can be reached from the last frame, {abs(step.turn_deg):.0f} deg {side} would help most"
    arc = fit.arc / DEGREE
    raise GeometryError(
        f"these frames leave the axis uncertain by {worst:.0f} arcmin: they span {arc:.1f} deg about it, with a "
        f"scatter of {fit.noise:.1f} times the assumed noise. Turn the mount by 30 deg or more in right "
        f"ascension between frames{advice}{left_out_lines(entries)}",
        arc,
    )


def _next_step(fit: AxisFit, north: bool, reach: Reach | None) -> NextStep | None:
    best = best_next_frame(fit, north, reach)
    if best is None:
        return None
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(best.direction))
    return NextStep(
        turn_deg=best.turn / DEGREE,
        axis_angle_deg=best.axis_angle / DEGREE,
        azimuth_deg=azimuth,
        altitude_deg=altitude,
        sigma_now_arcmin=best.sigma_now / ARCMIN,
        sigma_then_arcmin=best.sigma_then / ARCMIN,
    )
