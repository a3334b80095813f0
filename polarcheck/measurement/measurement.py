"""A folder of solved frames to the axis error: the main job, end to end.

frames -> observed directions -> axis -> error against the pole, with everything that the reader of the
number must know: what was left out and why, what the sigma does not hold, what a wrong site would cost, and
which frame would help next.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from polarcheck.alignment import Alignment, AxisError, FrameFile, Step, axis_error
from polarcheck.axis import (
    AxisFit,
    best_next_frame,
    camera_attitudes,
    camera_axis,
    fit_axis,
    shift_by_sag,
    solve_axis,
)
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE, FRAME_NOISE_PX
from polarcheck.errors import GeometryError, Notice
from polarcheck.frames import SENSOR_WEIGHTS, FrameSet, Problem, read_frames, sensor_of
from polarcheck.measurement.plausibility import sun_notice
from polarcheck.measurement.sample import Sample, require_two, sample_of, site_of
from polarcheck.measurement.verdicts import FrameEntry, fit_notices, frame_entries, left_out_lines
from polarcheck.site import Site
from polarcheck.sky import (
    Atmosphere,
    Pole,
    PoleKind,
    celestial_pole,
    icrs_from_observed,
    observed_from_icrs,
    standard_atmosphere,
)
from polarcheck.vectors import Array, azalt_from_direction, spherical_from_direction, wrap

__all__ = ["SAG_ARCSEC", "Measurement", "NextStep", "SiteCost", "measure", "measure_frames"]

SAG_ARCSEC = 10.0
"""Sag for which the shift of the axis is told. [arcsec]"""

_NO_RESULT_ARCMIN = 60.0  # a sigma beyond this tells nothing that the eye did not know
_COST_FRAMES = 60  # are enough to tell what a wrong site costs


@dataclass(frozen=True, slots=True)
class SiteCost:
    """How far a wrong site or clock would move the result on the sky.

    Attributes
    ----------
    longitude_arcmin_per_deg, latitude_arcmin_per_deg : float
        For one degree in the site. [arcmin/deg]
    clock_arcmin_per_min : float
        For one minute of the clock. [arcmin/min]
    """

    longitude_arcmin_per_deg: float
    latitude_arcmin_per_deg: float
    clock_arcmin_per_min: float


@dataclass(frozen=True, slots=True)
class NextStep:
    """The further frame that would narrow the answer most.

    Attributes
    ----------
    axis_angle_deg : float
        Where to turn the mount. [deg]
    sigma_now_arcmin, sigma_then_arcmin : float
        Larger half-axis of the error ellipse, one standard error, now and with that frame. [arcmin]
    """

    axis_angle_deg: float
    sigma_now_arcmin: float
    sigma_then_arcmin: float


@dataclass(frozen=True, slots=True)
class Measurement:
    """The axis error and all that belongs to it.

    Attributes
    ----------
    site : Site
        Where.
    atmosphere : Atmosphere
        The air used for refraction.
    utc : tuple of float
        Mid-exposure of the last used frame, two-part Julian date.
    pole : Pole
        What the error refers to.
    axis : ndarray, shape (3,)
        East-North-Up, the end that points at the visible pole.
    axis_azimuth_deg, axis_altitude_deg : float
        The same as angles. [deg]
    axis_ra_deg, axis_dec_deg : float
        The ICRS place seen there at `utc`. [deg]
    error : AxisError
        Axis minus pole.
    other_pole : Pole
        The other kind: the true one where `pole` is the refracted one.
    other_error : AxisError
        Axis minus the other pole.
    fit : AxisFit
        How it came about.
    entries : tuple of FrameEntry
        Every file that was offered, in order of time, those without time last.
    notices : tuple of Notice
        Warnings.
    residual_rms_arcsec : float
        Over the used frames. [arcsec]
    frame_noise_arcsec : float
        Standard error of one frame's pointing per coordinate, as used. [arcsec]
    sag_shift_arcmin : tuple of float
        How 10 arcsec of sag would move azimuth (about the vertical) and altitude. [arcmin]
    site_cost : SiteCost
        What a wrong site or clock would do.
    next_step : NextStep or None
        The frame that would help most.
    alignment : Alignment
        What later commands need.
    """

    site: Site
    atmosphere: Atmosphere
    utc: tuple[float, float]
    pole: Pole
    axis: Array
    axis_azimuth_deg: float
    axis_altitude_deg: float
    axis_ra_deg: float
    axis_dec_deg: float
    error: AxisError
    other_pole: Pole
    other_error: AxisError
    fit: AxisFit
    entries: tuple[FrameEntry, ...]
    notices: tuple[Notice, ...]
    residual_rms_arcsec: float
    frame_noise_arcsec: float
    sag_shift_arcmin: tuple[float, float]
    site_cost: SiteCost
    next_step: NextStep | None
    alignment: Alignment

    def aimed_at(self, pole: Pole, notices: tuple[Notice, ...] = ()) -> Measurement:
        """Return the same measurement, its error counted from another pole or aim."""
        dof = self.fit.degrees_of_freedom
        return replace(
            self,
            pole=pole,
            error=axis_error(self.fit.axis, self.fit.covariance, dof, pole),
            other_pole=self.pole,
            other_error=self.error,
            alignment=self.alignment.aimed_at(pole),
            notices=(*self.notices, *notices),
        )

    @property
    def used(self) -> tuple[FrameEntry, ...]:
        """The frames that bear on the axis."""
        return tuple(entry for entry in self.entries if entry.used)

    @property
    def left_out(self) -> tuple[FrameEntry, ...]:
        """The files that do not, other than those for which another stands."""
        return tuple(entry for entry in self.entries if not entry.used and not entry.is_sidecar)


def measure(
    paths: str | Path | Sequence[str | Path],
    *,
    site: Site | None = None,
    fallback_site: Site | None = None,
    pole: PoleKind = "refracted",
    pressure_hpa: float | None = None,
    temperature_c: float | None = None,
    noise_px: float = FRAME_NOISE_PX,
    clock_ahead_s: float = 0.0,
    recursive: bool = False,
    look_at_stars: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Measurement:
    """Measure the axis error from solved frames taken at several right-ascension positions.

    Parameters
    ----------
    paths : path or sequence of paths
        Folders, files or patterns.
    site : Site, optional
        Overrides what the headers say.
    fallback_site : Site, optional
        Serves where no header names a site.
    pole : {"refracted", "true"}
        What the error refers to.
    pressure_hpa, temperature_c : float, optional
        Of the air at the site; else of the standard atmosphere there. Pressure 0: no refraction.
    noise_px : float
        Pointing noise of a frame per coordinate, assumed where the residuals cannot tell. [px]
    clock_ahead_s : float
        By how much the clock in the headers was ahead of UTC. [s]
    recursive : bool
        Whether to look into subfolders.
    look_at_stars : bool
        Whether to leave out frames whose stars show that the mount still moved; reads all pixels.
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

    Examples
    --------
    >>> from polarcheck import measure
    >>> result = measure("sample_frames/north_sweep")
    >>> f"{result.error.total_arcmin:.0f} arcmin off"
    '20 arcmin off'
    """
    offered = [paths] if isinstance(paths, str | Path) else list(paths)
    frame_set = read_frames(
        [Path(path) for path in offered], recursive=recursive, clock_ahead_s=clock_ahead_s, progress=progress
    )
    notices: tuple[Notice, ...] = ()
    if look_at_stars:
        from polarcheck.stars import steady_frames

        frame_set, notices = steady_frames(frame_set, progress)
    result = measure_frames(
        frame_set,
        site=site,
        fallback_site=fallback_site,
        pole=pole,
        pressure_hpa=pressure_hpa,
        temperature_c=temperature_c,
        noise_px=noise_px,
    )
    return replace(result, notices=(*result.notices, *notices)) if notices else result


def measure_frames(
    frame_set: FrameSet,
    *,
    site: Site | None = None,
    fallback_site: Site | None = None,
    pole: PoleKind = "refracted",
    pressure_hpa: float | None = None,
    temperature_c: float | None = None,
    noise_px: float = FRAME_NOISE_PX,
) -> Measurement:
    """Measure the axis error from frames that are already read.

    Parameters
    ----------
    frame_set : FrameSet
        From `polarcheck.read_frames`.
    site, fallback_site, pole, pressure_hpa, temperature_c, noise_px
        As for `measure`.

    Returns
    -------
    Measurement

    Raises
    ------
    InputError, GeometryError
        As `measure`.
    """
    require_two(frame_set)
    notices: list[Notice] = []
    if site is None:
        site, notices = site_of(frame_set.frames, fallback_site)
    sample, refused = sample_of(frame_set, site, noise_px)
    air = standard_atmosphere(site.height_m, pressure_hpa, temperature_c)
    target = celestial_pole(pole, site, air)
    observed = observed_from_icrs(sample.sky, sample.utc, site, air, sample.earth)
    fit = _fit(sample, observed, target, refused)
    entries = frame_entries(sample, fit, refused)
    _require_meaning(fit, site.is_north, entries)
    error = axis_error(fit.axis, fit.covariance, fit.degrees_of_freedom, target)
    other = celestial_pole("true" if pole == "refracted" else "refracted", site, air)
    last = int(np.flatnonzero(fit.used)[-1])
    moment = sample.utc[last : last + 1]
    icrs = icrs_from_observed(fit.axis[None, None], moment, site, air, sample.earth.at(last))
    ra, dec = (float(angle[0, 0]) / DEGREE for angle in spherical_from_direction(icrs))
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(fit.axis))
    notices += [*sample.notices, *fit_notices(sample, fit, error, observed)]
    sun = sun_notice(sample.utc[fit.used], site)
    return Measurement(
        site=site,
        atmosphere=air,
        utc=(float(moment[0, 0]), float(moment[0, 1])),
        pole=target,
        axis=fit.axis,
        axis_azimuth_deg=azimuth,
        axis_altitude_deg=altitude,
        axis_ra_deg=ra,
        axis_dec_deg=dec,
        error=error,
        other_pole=other,
        other_error=axis_error(fit.axis, fit.covariance, fit.degrees_of_freedom, other),
        fit=fit,
        entries=entries,
        notices=tuple([*notices, sun] if sun else notices),
        residual_rms_arcsec=float(np.sqrt(np.mean(fit.residuals[fit.used] ** 2))) / ARCSEC,
        frame_noise_arcsec=fit.noise * float(np.median(sample.noise[fit.used])) / ARCSEC,
        sag_shift_arcmin=_sag_shift(fit),
        site_cost=_site_cost(sample, fit, site, air, pole),
        next_step=_next_step(fit, site.is_north),
        alignment=_alignment(sample, fit, site, air, pole),
    )


def _alignment(sample: Sample, fit: AxisFit, site: Site, air: Atmosphere, kind: PoleKind) -> Alignment:
    last = int(np.flatnonzero(fit.used)[-1])
    frame = sample.frames[last]
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(fit.axis))
    return Alignment(
        site=site,
        atmosphere=air,
        pole_kind=kind,
        axis=fit.axis,
        covariance=fit.covariance,
        degrees_of_freedom=fit.degrees_of_freedom,
        camera=camera_axis(fit, last, frame.pixel_scale_arcsec * ARCSEC),
        sensor=sensor_of(frame),
        last_frame=frame.name,
        last_file=FrameFile((frame.path,), frame.clock_ahead_s),
        is_continuous=last == len(sample.frames) - 1,
        steps=(Step(frame.utc, azimuth, altitude, fit.covariance),),
    )


def _fit(sample: Sample, observed: Array, pole: Pole, refused: Sequence[Problem]) -> AxisFit:
    try:
        return fit_axis(
            observed,
            SENSOR_WEIGHTS,
            sample.noise,
            pole.direction,
            camera=sample.camera,
            station=sample.station,
        )
    except GeometryError as error:
        raise GeometryError(f"{error}{left_out_lines(refused)}", error.arc_deg) from None


def _require_meaning(fit: AxisFit, north: bool, entries: Sequence[FrameEntry]) -> None:
    worst = float(np.sqrt(np.linalg.eigvalsh(fit.covariance)[-1])) / ARCMIN
    if worst <= _NO_RESULT_ARCMIN:
        return
    step = _next_step(fit, north)
    advice = f"; a frame at axis angle {step.axis_angle_deg:+.0f} deg would help most" if step else ""
    arc = fit.arc / DEGREE
    raise GeometryError(
        f"these frames leave the axis uncertain by {worst:.0f} arcmin: they span {arc:.1f} deg about it, with a "
        f"scatter of {fit.noise:.1f} times the assumed noise. Turn the mount by 30 deg or more in right "
        f"ascension between frames{advice}{left_out_lines(entries)}",
        arc,
    )


def _sag_shift(fit: AxisFit) -> tuple[float, float]:
    across, up = shift_by_sag(fit, SAG_ARCSEC * ARCSEC) / ARCMIN
    _, altitude = azalt_from_direction(fit.axis)
    return float(across / max(np.cos(altitude), 1e-12)), float(up)


def _next_step(fit: AxisFit, north: bool) -> NextStep | None:
    best = best_next_frame(fit, north)
    if best is None:
        return None
    return NextStep(best.axis_angle / DEGREE, best.sigma_now / ARCMIN, best.sigma_then / ARCMIN)


def _site_cost(sample: Sample, fit: AxisFit, site: Site, air: Atmosphere, kind: PoleKind) -> SiteCost:
    """Fit again with the site off by a degree; the groups and the frames in use stay."""
    used = np.flatnonzero(fit.used)
    some = used[:: max(1, len(used) // _COST_FRAMES)]
    part = sample.part(some)
    groups = np.unique(fit.groups[some], return_inverse=True)[1]
    offsets = []
    toward_pole = -1.0 if abs(site.latitude_deg) > 89 else 1.0
    shifts = ((0.0, 0.0), (0.0, 1.0), (toward_pole * np.copysign(1.0, site.latitude_deg), 0.0))
    for latitude, longitude in shifts:
        moved = Site(site.latitude_deg + latitude, site.longitude_deg + longitude, site.height_m, "moved")
        observed = observed_from_icrs(part.sky, part.utc, moved, air, part.earth)
        attitudes = camera_attitudes(observed, SENSOR_WEIGHTS, part.camera, part.noise)
        used_all = np.ones(len(some), dtype=bool)
        axis = solve_axis(attitudes, groups, used_all, fit.axis, roll_ratio=fit.roll_ratio).axis
        offsets.append(_offset_from_pole(axis, celestial_pole(kind, moved, air)))
    here, east, north = offsets
    by_longitude, by_latitude = (float(np.linalg.norm(there - here)) / ARCMIN for there in (east, north))
    return SiteCost(by_longitude, by_latitude, by_longitude / 4)  # the Earth turns a degree in four minutes


def _offset_from_pole(axis: Array, pole: Pole) -> Array:
    """Azimuth (on the sky) and altitude of the axis from the pole, shape (2,). [rad]"""
    azimuth, altitude = azalt_from_direction(axis)
    across = float(wrap(azimuth - pole.azimuth_deg * DEGREE)) * np.cos(altitude)
    return np.array([across, float(altitude) - pole.altitude_deg * DEGREE])
