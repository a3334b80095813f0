"""The longest exposure for which no star on the sensor moves more than is tolerated.

Stars over the whole sensor follow the real sky; the camera follows the misaligned mount, unguided or with a guider
that holds one star still. The motion of a star is where it falls in the focal plane minus where it fell at the
start, in units of the central pixel scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.camera_motion import guided_attitude, tracking_attitude
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.drift import Rate, require_up, tracking_rate
from polarcheck.errors import InputError
from polarcheck.site import Site
from polarcheck.sky import Atmosphere, Pole
from polarcheck.track import Track, field_frame, field_points, star_track
from polarcheck.vectors import Array, direction_from_azalt, tangent_basis, unit

__all__ = [
    "Exposure",
    "Limit",
    "Optics",
    "Scene",
    "exposure_limit",
    "limits_of",
    "motion",
    "required_error",
    "set_scene",
]

Limit = Literal["drift", "rotation", "refraction", "periodic error", "6 h", "sets"]

LONGEST_S = 6 * 3600.0
_LOWEST = float(np.sin(5 * DEGREE))  # below an observed altitude of 5 deg a target counts as set
_TARGET_POINTS = 5  # the target and its four derivative points come first in a track
_SIDES = np.array([[0, 0], [-1, -1], [0, -1], [1, -1], [-1, 0], [1, 0], [-1, 1], [0, 1], [1, 1]]) / 2
_DRAWS = 1024
_FARTHEST_ARCMIN = 600.0
_AT_ONCE = 128  # axes worked on together, for the sake of small boards' memory


@dataclass(frozen=True, slots=True)
class Optics:
    """What the camera sees, and how it is guided.

    Attributes
    ----------
    pixel_scale_arcsec : float
        At the centre. [arcsec/px]
    width_px, height_px : int
        Size of the sensor. [px]
    camera_angle_deg : float
        Position angle of the sensor's +y side, north through east. [deg]
    guide_offset_deg : tuple of float
        Guide star minus field centre, east and north, gnomonic. [deg]
    periodic_error_arcsec : float
        Of the drive, peak to peak, as an angle about the axis. [arcsec]
    worm_period_s : float
        Its period. [s]
    """

    pixel_scale_arcsec: float
    width_px: int
    height_px: int
    camera_angle_deg: float = 0.0
    guide_offset_deg: tuple[float, float] = (0.0, 0.0)
    periodic_error_arcsec: float = 0.0
    worm_period_s: float = 0.0

    @property
    def sensor_offsets(self) -> Array:
        """Centre, corners and middles of the edges: gnomonic offsets east and north, shape (9, 2). [rad]"""
        angle = self.camera_angle_deg * DEGREE
        across = np.array([np.cos(angle), -np.sin(angle)]) * self.width_px
        up = np.array([np.sin(angle), np.cos(angle)]) * self.height_px
        return np.asarray((_SIDES[:, :1] * across + _SIDES[:, 1:] * up) * self.pixel_scale_arcsec * ARCSEC)


@dataclass(frozen=True, slots=True)
class Scene:
    """A target over a sensor at a site, for one start: all that does not depend on the axis.

    Attributes
    ----------
    track : Track
        The target, its four derivative points, the nine points of the sensor, the guide star.
    start_s : float
        Start, since the track's own. [s]
    end_s : float
        How long the target can be exposed: until it sets, or 6 h. [s]
    ends_by : {"sets", "6 h"}
        Which of them.
    optics : Optics
    guided : bool
    turn : float
        Rate at which the unguided mount turns. [rad/s]
    """

    track: Track
    start_s: float
    end_s: float
    ends_by: Literal["sets", "6 h"]
    optics: Optics
    guided: bool
    turn: float = SIDEREAL_RATE

    def stars(self, seconds: Array) -> Array:
        """Observed directions of all points at moments since the start, shape (m, 15, 3)."""
        return self.track.at(self.start_s + seconds)


@dataclass(frozen=True, slots=True)
class Exposure:
    """How long one exposure may be.

    Attributes
    ----------
    guided : bool
    tolerance_arcsec : float
        Largest motion that is tolerated. [arcsec]
    limit_s : float or None
        Longest exposure; None where the motion stays below the tolerance as long as it can be exposed. [s]
    limited_by : str
        What the largest part of the motion comes from then: "drift", "rotation", "refraction" or
        "periodic error"; or what ends the time: "6 h" or "sets".
    limited_at : tuple of float or None
        Where on the sensor the motion reaches the tolerance: offsets east and north of the centre. [deg]
    limit_s_95 : float or None
        The exposure that holds with 95 % confidence; None without a covariance, or endless. [s]
    is_endless_95 : bool
        Whether `limit_s_95` is None because even so there is no limit.
    available_s : float
        Until the target sets, at most 6 h. [s]
    """

    guided: bool
    tolerance_arcsec: float
    limit_s: float | None
    limited_by: Limit
    limited_at: tuple[float, float] | None
    limit_s_95: float | None
    is_endless_95: bool
    available_s: float


def set_scene(
    site: Site,
    atmosphere: Atmosphere,
    pole: Pole,
    target_deg: tuple[float, float],
    utc: tuple[float, float],
    optics: Optics,
    *,
    guided: bool,
    rate: Rate = "sidereal",
) -> Scene:
    """Follow a target and the sensor's stars over the sky for as long as they may be exposed.

    Parameters
    ----------
    site, atmosphere
        Where, and the air there.
    pole : Pole
        Elevated pole that King's rate refers to.
    target_deg : tuple of float
        ICRS right ascension and declination. [deg]
    utc : tuple of float
        Start, two-part Julian date.
    optics : Optics
    guided : bool
        Whether a guider holds the guide star still.
    rate : {"sidereal", "king", "solar", "lunar"}
        At which the unguided mount turns.

    Returns
    -------
    Scene

    Raises
    ------
    InputError
        The target is below the horizon.
    """
    track = star_track(scene_points(target_deg, optics), utc, LONGEST_S + 40.0, site, atmosphere)
    require_up(track.at(np.zeros(1))[0, 0])
    return scene_from(track, 0.0, pole, optics, guided=guided, rate=rate)


def scene_points(target_deg: tuple[float, float], optics: Optics) -> Array:
    """Return the ICRS directions that a scene follows, shape (15, 3)."""
    guide = np.array([optics.guide_offset_deg]) * DEGREE
    if float(np.hypot(*optics.guide_offset_deg)) >= 45:
        raise InputError("the guide star is 45 deg or more from the target; give the offset in degrees")
    return field_points(target_deg, np.concatenate([optics.sensor_offsets, guide]))


def scene_from(
    track: Track, start_s: float, pole: Pole, optics: Optics, *, guided: bool, rate: Rate = "sidereal"
) -> Scene:
    """Return the scene of an exposure that begins some seconds into a track of `scene_points`."""
    end, ends_by = _available(track, start_s)
    turn = tracking_rate(rate, track, pole.direction, track.north, start_s)
    return Scene(track, start_s, end, ends_by, optics, guided, turn)


def _available(track: Track, start_s: float) -> tuple[float, Literal["sets", "6 h"]]:
    """Time until the target sinks through the lowest altitude, at most 6 h."""
    longest = min(LONGEST_S, float(track.seconds[-1]) - start_s)
    seconds = np.linspace(0.0, longest, int(longest // 30) + 2)
    height = track.at(start_s + seconds)[:, 0, 2] - _LOWEST
    sinking = np.flatnonzero((height[1:] < 0) & (height[1:] < height[:-1]))
    if not len(sinking):
        return longest, "6 h"
    i = int(sinking[0])
    if height[i] <= 0:
        return float(seconds[i]), "sets"
    part = height[i] / (height[i] - height[i + 1])
    return float(seconds[i] + part * (seconds[i + 1] - seconds[i])), "sets"


def motion(scene: Scene, axes: Array, seconds: Array) -> Array:
    """Return how far stars have moved on the sensor since the start.

    Parameters
    ----------
    scene : Scene
    axes : ndarray, shape (m, 3)
        Elevated ends of mounts' axes.
    seconds : ndarray, shape (n,)
        Since the start. [s]

    Returns
    -------
    ndarray, shape (m, n, 9, 2)
        East and north for the nine points of the sensor, periodic error aside. [arcsec at the centre]
    """
    start = scene.stars(np.zeros(1))[0]
    frame = field_frame(start[:_TARGET_POINTS])
    stars = scene.stars(seconds)
    if scene.guided:
        attitude = guided_attitude(stars[None, :, -1], start[-1], start[0], axes[:, None])
    else:
        attitude = tracking_attitude(axes[:, None], scene.turn * seconds, scene.track.north)
    on_sensor = slice(_TARGET_POINTS, -1)
    return np.asarray((frame.place(stars[:, on_sensor] @ attitude) - frame.place(start[on_sensor])) / ARCSEC)


def largest_motion(scene: Scene, axes: Array, seconds: Array) -> Array:
    """Return the largest motion over the sensor, periodic error at its worst phase, shape (m, n, 9). [arcsec]"""
    moved = motion(scene, axes, seconds)
    swing = _periodic(scene, axes, seconds)
    if swing is None:
        size = np.hypot(moved[..., 0], moved[..., 1])
    else:
        ends = [np.hypot(*np.moveaxis(moved + sign * swing, -1, 0)) for sign in (1, -1)]
        size = np.maximum(*ends)
    # a guide star out of reach of both turns is a motion beyond any tolerance
    return np.asarray(np.where(np.isfinite(size), size, np.inf))


def _periodic(scene: Scene, axes: Array, seconds: Array) -> Array | None:
    """Largest displacement by periodic error, either way, shape (m, n, 9, 2) or one that broadcasts. [arcsec]"""
    optics = scene.optics
    if scene.guided or not optics.periodic_error_arcsec or not optics.worm_period_s:
        return None
    start = scene.stars(np.zeros(1))[0]
    frame = field_frame(start[:_TARGET_POINTS])
    points = start[_TARGET_POINTS:-1]
    # half its height times a sine: over some time it changes by at most this much, at the worst phase
    change = optics.periodic_error_arcsec * np.abs(np.sin(np.pi * seconds / optics.worm_period_s))
    step = 1e-6
    shifted = points @ tracking_attitude(axes, step, scene.track.north)
    slope = (frame.place(shifted) - frame.place(points)) / step
    return np.asarray(change[None, :, None, None] * slope[:, None])


def limits_of(scene: Scene, axes: Array, tolerance_arcsec: float, around_s: float | None = None) -> Array:
    """Return the first moment at which the motion reaches the tolerance, for each of many axes.

    Parameters
    ----------
    scene : Scene
    axes : ndarray, shape (m, 3)
    tolerance_arcsec : float
    around_s : float, optional
        Where moments are wanted densest: the limit of a typical axis. [s]

    Returns
    -------
    ndarray, shape (m,)
        Infinite where that does not happen while the target can be exposed; read linearly between moments a few
        per cent apart. [s]
    """
    seconds = _moments(scene, around_s)
    found = []
    for first in range(0, len(axes), _AT_ONCE):
        size = largest_motion(scene, axes[first : first + _AT_ONCE], seconds).max(axis=-1)
        found.append(_first_crossing(seconds, size, tolerance_arcsec))
    return np.concatenate(found)


def _moments(scene: Scene, around_s: float | None) -> Array:
    end = max(scene.end_s, 1.0)
    spread = np.geomspace(min(0.05, end / 2), end, 110)
    if around_s is not None:
        spread = np.union1d(spread, np.linspace(0, min(2 * around_s, end), 60))
    if scene.optics.periodic_error_arcsec and scene.optics.worm_period_s and not scene.guided:
        eighth = scene.optics.worm_period_s / 8  # so that every crest is among the moments
        spread = np.union1d(spread, np.arange(0.0, end, eighth))
    return np.union1d(spread, 0.0)


def _first_crossing(seconds: Array, size: Array, tolerance: float) -> Array:
    """First moment at which rows of sizes, shape (m, n), reach the tolerance; infinite if never, shape (m,)."""
    over = size >= tolerance
    i = np.argmax(over, axis=1)
    rows = np.arange(len(size))
    before, after = size[rows, np.maximum(i - 1, 0)], size[rows, i]
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(np.isfinite(after), (tolerance - before) / (after - before), 0.0)
    when = seconds[np.maximum(i - 1, 0)] + np.clip(part, 0, 1) * (seconds[i] - seconds[np.maximum(i - 1, 0)])
    return np.where(over.any(axis=1), np.where(i == 0, 0.0, when), np.inf)


def exposure_limit(
    scene: Scene,
    axis: Array,
    pole: Pole,
    tolerance_arcsec: float,
    covariance: Array | None = None,
) -> Exposure:
    """Find the longest exposure.

    Parameters
    ----------
    scene : Scene
    axis : ndarray, shape (3,)
        The mount's elevated end.
    pole : Pole
        What counts as no misalignment, when the motion is parted by cause.
    tolerance_arcsec : float
        Largest motion that is tolerated. [arcsec]
    covariance : ndarray, shape (2, 2), optional
        Of the axis on its tangent plane (azimuth times cos altitude, altitude). [rad^2]

    Returns
    -------
    Exposure
    """
    rough = float(limits_of(scene, axis[None], tolerance_arcsec)[0])
    limit = _refined(scene, axis, tolerance_arcsec, rough) if np.isfinite(rough) else None
    by, where = (scene.ends_by, None) if limit is None else _blame(scene, axis, pole, limit)
    sure = None
    if covariance is not None:
        draws = axes_drawn(axis, covariance)
        sure = float(np.quantile(limits_of(scene, draws, tolerance_arcsec, limit), 0.05, method="lower"))
    return Exposure(
        guided=scene.guided,
        tolerance_arcsec=tolerance_arcsec,
        limit_s=limit,
        limited_by=by,
        limited_at=where,
        limit_s_95=sure if sure is not None and np.isfinite(sure) else None,
        is_endless_95=sure is not None and not np.isfinite(sure),
        available_s=scene.end_s,
    )


def _refined(scene: Scene, axis: Array, tolerance: float, rough: float) -> float:
    """Narrow the first crossing down from the moments around a rough one."""
    low, high = 0.8 * rough, min(1.2 * rough, scene.end_s)
    for _ in range(4):
        seconds = np.linspace(low, high, 25)
        size = largest_motion(scene, axis[None], seconds).max(axis=-1)
        over = np.flatnonzero(size[0] >= tolerance)
        if not len(over):
            return rough
        low, high = float(seconds[max(over[0] - 1, 0)]), float(seconds[over[0]])
    return (low + high) / 2


def _blame(scene: Scene, axis: Array, pole: Pole, limit: float) -> tuple[Limit, tuple[float, float]]:
    """Which cause has the largest part of the motion where it is largest, and where that is."""
    at = np.array([limit])
    worst = int(np.argmax(largest_motion(scene, axis[None], at)[0, 0]))
    both = motion(scene, np.stack([axis, pole.direction]), at)[:, 0]
    moved, on_pole = both[0], both[1]
    whole = moved[worst]
    swing = _periodic(scene, axis[None], at)
    periodic = np.zeros(2) if swing is None else swing[0, 0, worst]
    if periodic @ whole < 0:
        periodic = -periodic
    along = unit(whole + periodic) if np.hypot(*(whole + periodic)) > 0 else np.array([1.0, 0.0])
    centre = 0
    parts: dict[Limit, float] = {
        "drift": float((moved[centre] - on_pole[centre]) @ along),
        "rotation": float((moved[worst] - on_pole[worst] - moved[centre] + on_pole[centre]) @ along),
        "refraction": float(on_pole[worst] @ along),
        "periodic error": float(periodic @ along),
    }
    east, north = (float(offset) / DEGREE for offset in scene.optics.sensor_offsets[worst])
    return max(parts, key=lambda cause: parts[cause]), (east, north)


def axes_drawn(axis: Array, covariance: Array, count: int = _DRAWS) -> Array:
    """Return axes that follow a covariance evenly, shape (count, 3); the same ones each time.

    An additive recurrence (Roberts' R2 sequence, from memory) in the place of random numbers: it fills the
    square more evenly, so that quantiles scatter less.
    """
    root = 1.32471795724474602596  # of x^3 = x + 1
    square = (0.5 + np.arange(1, count + 1)[:, None] * np.array([1 / root, 1 / root**2])) % 1
    radius, angle = np.sqrt(-2 * np.log1p(-square[:, 0])), 2 * np.pi * square[:, 1]
    normal = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)
    values, vectors = np.linalg.eigh(covariance)
    offsets = normal * np.sqrt(np.maximum(values, 0)) @ vectors.T
    return unit(axis + offsets @ tangent_basis(axis).T)


def required_error(scene: Scene, pole: Pole, tolerance_arcsec: float, want_s: float) -> float | None:
    """Return how near the pole an axis must be for an exposure of some length.

    Parameters
    ----------
    scene : Scene
    pole : Pole
        Centre of the circle.
    tolerance_arcsec : float
    want_s : float
        The exposure. [s]

    Returns
    -------
    float or None
        Largest radius around the pole such that an axis anywhere within allows the exposure; 0 where even one on the
        pole does not; None beyond 600 arcmin. [arcmin]

    Raises
    ------
    InputError
        The target sets before, or the exposure is longer than 6 h.
    """
    if want_s > scene.end_s:
        raise InputError(
            f"the target can be exposed for {scene.end_s / 60:.0f} min only, then it "
            + ("sets" if scene.ends_by == "sets" else "has had the 6 h that this looks ahead")
        )
    seconds = _moments(scene, want_s / 2)
    seconds = np.union1d(seconds[seconds < want_s], want_s)

    def allowed(radii: Array, angles: Array) -> Array:
        size = largest_motion(scene, _around(pole, radii, angles), seconds)
        return np.asarray(size.max(axis=(1, 2)) <= tolerance_arcsec)

    if not allowed(np.zeros(1), np.zeros(1))[0]:
        return 0.0
    angles = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    for _ in range(3):  # narrow the angles around the worst one
        radii = _bisected(allowed, angles)
        worst = int(np.argmin(radii))
        width = angles[1] - angles[0]
        angles = angles[worst] + np.linspace(-width, width, 25)
    least = float(radii.min())
    return None if least >= _FARTHEST_ARCMIN else least


def _bisected(allowed: object, angles: Array) -> Array:
    """Largest allowed radius in each direction. [arcmin]"""
    assert callable(allowed)
    low, high = np.zeros(len(angles)), np.full(len(angles), _FARTHEST_ARCMIN)
    everywhere = allowed(high, angles)
    for _ in range(22):
        middle = (low + high) / 2
        good = allowed(middle, angles)
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    return np.where(everywhere, _FARTHEST_ARCMIN, low)


def _around(pole: Pole, radii_arcmin: Array, angles: Array) -> Array:
    """Directions at radii around a pole, shape (m, 3)."""
    centre = direction_from_azalt(pole.azimuth_deg * DEGREE, pole.altitude_deg * DEGREE)
    basis = tangent_basis(centre)
    radius = (radii_arcmin * ARCMIN)[:, None]
    towards = np.stack([np.cos(angles), np.sin(angles)], axis=-1) @ basis.T
    return np.asarray(np.cos(radius) * centre + np.sin(radius) * towards)
