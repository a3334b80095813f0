"""A folder of solved frames to the axis error: the main job, end to end.

frames -> observed directions -> axis -> error against the pole, with everything that the reader of the
number must know: what was left out and why, what the sigma does not hold, what a wrong site would cost, and
which frame would help next.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from polarcheck import stars
from polarcheck.alignment import FLEXURE_ARCSEC, Alignment, AxisError, FrameFile, Step, Systematic
from polarcheck.axis import (
    AxisFit,
    Course,
    Creep,
    Reach,
    best_next_frame,
    camera_attitudes,
    camera_axis,
    fit_axis,
    fit_sweep,
    flexure_region,
    solve_axis,
)
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import FitError, GeometryError, Notice
from polarcheck.frames import SENSOR_WEIGHTS, FrameSet, Problem, read_frames, sensor_of
from polarcheck.given import PathLike, SiteLike, as_paths, as_site
from polarcheck.measurement.conditions import Conditions, Reading
from polarcheck.measurement.plausibility import sun_notice, zone_notice
from polarcheck.measurement.sample import Sample, require_two, sample_of, site_of
from polarcheck.measurement.site_votes import site_by_votes
from polarcheck.measurement.sweep_verdicts import creep_notice
from polarcheck.measurement.tracked_verdicts import GUIDED_ADVICE
from polarcheck.measurement.verdicts import FrameEntry, fit_notices, frame_entries, left_out_lines
from polarcheck.presenting import WithDict, WithPlot, WithTable
from polarcheck.site import Site
from polarcheck.sky import Atmosphere, Pole, PoleKind, Sky
from polarcheck.vectors import Array, azalt_from_direction, spherical_from_direction, wrap

__all__ = ["Measurement", "NextStep", "SiteCost", "measure", "measure_frames"]

_NO_RESULT_ARCMIN = 60.0  # a sigma beyond this tells nothing that the eye did not know
_LOOSE_ARCMIN = 0.1  # finer than hands turn knobs; common practice, no source
_CLEARLY_LESS = 0.7  # of the sigma; common practice, no source
_COST_FRAMES = 60  # are enough to tell what a wrong site costs


@dataclass(frozen=True, slots=True)
class SiteCost:
    """How far a wrong site, clock or air would move the result on the sky.

    Attributes
    ----------
    longitude_arcmin_per_deg, latitude_arcmin_per_deg : float
        For one degree in the site. [arcmin/deg]
    clock_arcmin_per_min : float
        For one minute of the clock. [arcmin/min]
    pressure_arcmin_per_10hpa, temperature_arcmin_per_10deg : float
        For 10 hPa and 10 deg C of the air. [arcmin]
    humidity_arcmin_per_half : float
        For 0.5 of relative humidity. [arcmin]
    """

    longitude_arcmin_per_deg: float
    latitude_arcmin_per_deg: float
    clock_arcmin_per_min: float
    pressure_arcmin_per_10hpa: float
    temperature_arcmin_per_10deg: float
    humidity_arcmin_per_half: float


@dataclass(frozen=True, slots=True)
class NextStep:
    """The further frame that would narrow the answer most.

    Attributes
    ----------
    turn_deg : float
        About the right-ascension axis from where the last frame in use was taken, westward; tracking goes on. [deg]
    axis_angle_deg : float
        Where that is. [deg]
    azimuth_deg, altitude_deg : float
        Where the camera then points. [deg]
    sigma_now_arcmin, sigma_then_arcmin : float
        Larger half-axis of the error ellipse, one standard error, now and with that frame. [arcmin]
    """

    turn_deg: float
    axis_angle_deg: float
    azimuth_deg: float
    altitude_deg: float
    sigma_now_arcmin: float
    sigma_then_arcmin: float

    @property
    def is_worth_a_frame(self) -> bool:
        """Whether that frame tells clearly more: an answer looser than 0.1 arcmin, narrowed by a third."""
        return (
            self.sigma_now_arcmin > _LOOSE_ARCMIN
            and self.sigma_then_arcmin < _CLEARLY_LESS * self.sigma_now_arcmin
        )


@dataclass(frozen=True, slots=True, repr=False)
class Measurement(WithDict, WithTable, WithPlot):
    """The axis error and all that belongs to it.

    Attributes
    ----------
    alignment : Alignment
        How the mount stands: sky, axis, covariance, and what later commands need.
    fit : AxisFit
        How it came about.
    entries : tuple of FrameEntry
        Every file that was offered, in order of time, those without time last.
    notices : tuple of Notice
        Warnings.
    frame_noise_arcsec : float
        Standard error of one frame's pointing per coordinate, as used. [arcsec]
    creep : Creep or None
        The steady creep of the declination that was solved for, where the frames show one.
    site_cost : SiteCost
        What a wrong site or clock would do.
    next_step : NextStep or None
        The frame that would help most.
    """

    alignment: Alignment
    fit: AxisFit
    entries: tuple[FrameEntry, ...]
    notices: tuple[Notice, ...]
    frame_noise_arcsec: float
    creep: Creep | None
    site_cost: SiteCost
    next_step: NextStep | None

    def __repr__(self) -> str:
        return f"Measurement({self.error.brief}, {len(self.used)} of {len(self.used) + len(self.left_out)} frames)"

    def aimed_at(self, pole: Pole, notices: tuple[Notice, ...] = ()) -> Measurement:
        """Return the same measurement, its error counted from another pole or aim; `notices` are added to its own."""
        return replace(self, alignment=self.alignment.aimed_at(pole), notices=(*self.notices, *notices))

    def continuing(self, before: Alignment, turned: tuple[float, float] | None) -> Measurement:
        """Return the same measurement as one that goes on with the night of an earlier result.

        Parameters
        ----------
        before : Alignment
            The earlier result; its steps, which teach how the knobs act, come first.
        turned : tuple of float or None
            Turns that the azimuth and the altitude knob were given since, clockwise positive; None if nobody says. [turn]

        Raises
        ------
        InputError
            The earlier result is later, or of another place.
        """
        return replace(self, alignment=self.alignment.continuing(before, turned))

    @property
    def sky(self) -> Sky:
        """Where, and the air used for refraction."""
        return self.alignment.sky

    @property
    def site(self) -> Site:
        """Where."""
        return self.alignment.sky.site

    @property
    def utc(self) -> tuple[float, float]:
        """Mid-exposure of the last used frame, two-part Julian date."""
        return self.alignment.steps[-1].utc

    @property
    def pole(self) -> Pole:
        """What the error refers to."""
        return self.alignment.pole

    @property
    def axis(self) -> Array:
        """East-North-Up unit vector, shape (3,), of the end that points at the visible pole."""
        return self.alignment.axis

    @property
    def axis_azimuth_deg(self) -> float:
        """Azimuth of the axis. [deg]"""
        return self.alignment.steps[-1].azimuth_deg

    @property
    def axis_altitude_deg(self) -> float:
        """Altitude of the axis. [deg]"""
        return self.alignment.steps[-1].altitude_deg

    @property
    def axis_icrs_deg(self) -> tuple[float, float]:
        """ICRS right ascension and declination seen where the axis points, at `utc`. [deg]"""
        place = self.sky.icrs(self.axis[None, None], np.array([self.utc]))
        ra, dec = spherical_from_direction(place[0, 0])
        return float(ra) / DEGREE, float(dec) / DEGREE

    @property
    def error(self) -> AxisError:
        """Axis minus pole."""
        return self.alignment.error

    @property
    def other_pole(self) -> Pole:
        """The true pole where `pole` is the refracted one, else the refracted one."""
        return self.sky.pole("true" if self.pole.kind == "refracted" else "refracted")

    @property
    def other_error(self) -> AxisError:
        """Axis minus the other pole."""
        return self.alignment.aimed_at(self.other_pole).error

    @property
    def residual_rms_arcsec(self) -> float:
        """Over the used frames. [arcsec]"""
        return float(np.sqrt(np.mean(self.fit.residuals[self.fit.used] ** 2))) / ARCSEC

    @property
    def systematic(self) -> Systematic:
        """What sag and creep may have done beside the noise."""
        assert self.alignment.systematic is not None
        return self.alignment.systematic

    @property
    def used(self) -> tuple[FrameEntry, ...]:
        """The frames that bear on the axis."""
        return tuple(entry for entry in self.entries if entry.used)

    @property
    def left_out(self) -> tuple[FrameEntry, ...]:
        """The files that do not, other than those for which another stands."""
        return tuple(entry for entry in self.entries if not entry.used and not entry.is_sidecar)


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
    observed = sky.observed(sample.sky, sample.utc, sample.earth)
    fit, creep = _fit(sample, observed, target, refused, conditions.frames_guided)
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
        sun_notice(sample.utc[fit.used], place),
        zone_notice([sample.frames[i] for i in np.flatnonzero(fit.used)], place),
    ]
    return Measurement(
        alignment=alignment,
        fit=fit,
        entries=entries,
        notices=(*notices, *(notice for notice in more if notice)),
        frame_noise_arcsec=fit.noise * float(np.median(sample.noise[fit.used])) / ARCSEC,
        creep=creep,
        site_cost=_site_cost(sample, fit, sky, pole),
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


def _fit(
    sample: Sample, observed: Array, pole: Pole, refused: Sequence[Problem], guided: bool | None
) -> tuple[AxisFit, Creep | None]:
    def fitted(directions: Array) -> AxisFit:
        return fit_axis(
            directions,
            SENSOR_WEIGHTS,
            sample.noise,
            pole.direction,
            course=Course(sample.elapsed_s, sample.sky, guided),
            camera=sample.camera,
            station=sample.station,
        )

    try:
        return fit_sweep(observed, sample.elapsed_s, fitted)
    except GeometryError as error:
        raise GeometryError(f"{error}{left_out_lines(refused)}", error.arc_deg) from None


def _require_meaning(fit: AxisFit, north: bool, entries: Sequence[FrameEntry], reach: Reach | None) -> None:
    worst = float(np.sqrt(np.linalg.eigvalsh(fit.covariance)[-1])) / ARCMIN
    if worst <= _NO_RESULT_ARCMIN:
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


def _site_cost(sample: Sample, fit: AxisFit, sky: Sky, kind: PoleKind) -> SiteCost:
    """Fit again with the site off by a degree, or in other air; the groups and the frames in use stay."""
    used = np.flatnonzero(fit.used)
    if fit.turns:
        used = used[used >= fit.turns.moments[-1]]
    some = used[:: max(1, len(used) // _COST_FRAMES)]
    part, groups = sample.part(some), np.unique(fit.groups[some], return_inverse=True)[1]

    def offset(moved: Sky) -> Array:
        observed = moved.observed(part.sky, part.utc, part.earth)
        attitudes = camera_attitudes(observed, SENSOR_WEIGHTS, part.camera, part.noise)
        used_all = np.ones(len(some), dtype=bool)
        axis = solve_axis(attitudes, groups, used_all, fit.axis, roll_ratio=fit.roll_ratio).axis
        return _offset_from_pole(axis, moved.pole(kind))

    here = offset(sky)

    def cost(moved: Sky) -> float:
        return float(np.linalg.norm(offset(moved) - here)) / ARCMIN

    site, air = sky.site, sky.air
    towards_pole = -1.0 if abs(site.latitude_deg) > 89 else 1.0
    northward = towards_pole * float(np.copysign(1.0, site.latitude_deg))
    by_longitude = cost(Sky(site.moved(0.0, 1.0), air))
    return SiteCost(
        by_longitude,
        cost(Sky(site.moved(northward, 0.0), air)),
        by_longitude / 4,  # the Earth turns a degree in four minutes
        *(cost(Sky(site, other)) for other in _other_airs(air)),
    )


def _other_airs(air: Atmosphere) -> tuple[Atmosphere, Atmosphere, Atmosphere]:
    """The same air with another pressure, temperature and humidity, within what can be; without air, none."""
    if not air.pressure_hpa:
        return air, air, air
    return (
        replace(air, pressure_hpa=air.pressure_hpa + (10.0 if air.pressure_hpa < 1000 else -10.0)),
        replace(air, temperature_c=air.temperature_c + (10.0 if air.temperature_c < 0 else -10.0)),
        replace(
            air, relative_humidity=air.relative_humidity + (0.5 if air.relative_humidity < 0.5 else -0.5)
        ),
    )


def _offset_from_pole(axis: Array, pole: Pole) -> Array:
    """Azimuth (on the sky) and altitude of the axis from the pole, shape (2,). [rad]"""
    azimuth, altitude = azalt_from_direction(axis)
    across = float(wrap(azimuth - pole.azimuth_deg * DEGREE)) * np.cos(altitude)
    return np.array([across, float(altitude) - pole.altitude_deg * DEGREE])
