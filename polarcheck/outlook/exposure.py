"""The longest exposure for which no star on the sensor moves more than is tolerated.

The motion of a star is where it falls in the focal plane minus where it fell at the start, in units of the central
pixel scale.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import InputError
from polarcheck.outlook.scene import Scene, largest_motion, motion, periodic_motion
from polarcheck.presenting import WithDict
from polarcheck.sky import Pole
from polarcheck.vectors import Array, direction_from_azalt, tangent_basis, unit

__all__ = [
    "Exposure",
    "Limit",
    "SensorPlace",
    "Wanted",
    "axes_beside",
    "axes_drawn",
    "exposure_limit",
    "limits_of",
    "required_error",
    "telling_places",
]

Limit = Literal["drift", "rotation", "refraction", "periodic error", "6 h", "sets"]

_DRAWS = 1024
_FARTHEST_ARCMIN = 600.0
_AT_ONCE = 20_000  # axes times moments worked on together, for the sake of small boards' memory

_ALONG = 0.2  # of the longer offset: below it a place counts as straight along the other direction


@dataclass(frozen=True, slots=True)
class SensorPlace:
    """Where on the sensor, seen from its centre.

    Attributes
    ----------
    distance_deg : float
        From the centre. [deg]
    directions : tuple of str
        "north" or "south", then "east" or "west"; one alone where the place lies nearly along it.
    """

    distance_deg: float
    directions: tuple[str, ...]


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

    def spare_arcmin(self, total_arcmin: float) -> float:
        """Return by how much a total error stays below what is allowed; negative beyond it. [arcmin]"""
        return (float("inf") if self.total_arcmin is None else self.total_arcmin) - total_arcmin


@dataclass(frozen=True, slots=True, repr=False)
class Exposure(WithDict):
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

    def __repr__(self) -> str:
        limit = "no limit" if self.limit_s is None else f"{self.limit_s:.1f} s"
        sure = (
            "no limit"
            if self.is_endless_95
            else "unknown"
            if self.limit_s_95 is None
            else f"{self.limit_s_95:.1f} s"
        )
        return f"Exposure({limit}, with 95 % confidence {sure}, limited by {self.limited_by})"

    @property
    def limited_place(self) -> SensorPlace | None:
        """Where on the sensor the motion reaches the tolerance; None at its centre, or where nothing does."""
        east, north = self.limited_at or (0.0, 0.0)
        if east == north == 0:
            return None
        ways = (("north" if north > 0 else "south", abs(north)), ("east" if east > 0 else "west", abs(east)))
        least = _ALONG * max(abs(east), abs(north))
        return SensorPlace(float(np.hypot(east, north)), tuple(name for name, size in ways if size > least))


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
    at_once = max(1, _AT_ONCE // len(seconds))
    for first in range(0, len(axes), at_once):
        size = largest_motion(scene, axes[first : first + at_once], seconds).max(axis=-1)
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
    degrees_of_freedom: int = 0,
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
    degrees_of_freedom : int
        Behind the covariance; 0 for a known noise.

    Returns
    -------
    Exposure
    """
    rough = float(limits_of(scene, axis[None], tolerance_arcsec)[0])
    limit = _refined(scene, axis, tolerance_arcsec, rough) if np.isfinite(rough) else None
    by, where = (scene.ends_by, None) if limit is None else _blame(scene, axis, pole, limit)
    sure = None
    if covariance is not None:
        draws = axes_drawn(axis, covariance, degrees_of_freedom)
        telling = telling_places(scene, axes_beside(axis, covariance), limit or scene.end_s)
        sure = float(np.quantile(limits_of(telling, draws, tolerance_arcsec, limit), 0.05, method="lower"))
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
    swing = periodic_motion(scene, axis[None], at)
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
    east, north = (float(offset) / DEGREE for offset in scene.offsets[scene.chosen[worst]])
    return max(parts, key=lambda cause: parts[cause]), (east, north)


def telling_places(scene: Scene, axes: Array, around_s: float) -> Scene:
    """Return the scene with the places alone that move most for one of some axes at some moment."""
    seconds = np.minimum(np.geomspace(0.05, 3.0, 16) * around_s, scene.end_s)
    worst = np.concatenate([largest_motion(scene, axis[None], seconds)[0].argmax(axis=-1) for axis in axes])
    return scene.only(np.unique(worst))


def axes_beside(axis: Array, covariance: Array) -> Array:
    """Return the axis two standard deviations to either side along both main directions, shape (4, 3)."""
    values, vectors = np.linalg.eigh(covariance)
    offsets = 2 * vectors.T * np.sqrt(np.maximum(values, 0))[:, None]
    return unit(axis + np.concatenate([offsets, -offsets]) @ tangent_basis(axis).T)


def axes_drawn(axis: Array, covariance: Array, degrees_of_freedom: int = 0, count: int = _DRAWS) -> Array:
    """Return axes that follow a covariance evenly, shape (count, 3); the same ones each time.

    Where few residuals gave the scale, the axes follow Student's t, by a scale of their own for each. An additive
    recurrence (Roberts' R3 sequence, from memory) in the place of random numbers: it fills the cube more evenly, so
    that quantiles scatter less.
    """
    from scipy.special import gammaincinv  # only results need it, not --help

    root = 1.22074408460575947536  # of x^4 = x + 1
    cube = (0.5 + np.arange(1, count + 1)[:, None] / root ** np.arange(1, 4)) % 1
    radius, angle = np.sqrt(-2 * np.log1p(-cube[:, 0])), 2 * np.pi * cube[:, 1]
    if degrees_of_freedom > 0:  # chi square by its quantile
        radius /= np.sqrt(2 * gammaincinv(degrees_of_freedom / 2, cube[:, 2]) / degrees_of_freedom)
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
    ring = np.array([0.0, 0.5, 1.0, 1.5]) * np.pi
    tried = [_around(pole, np.full(4, radius), ring) for radius in (0.0, 1.0, 10.0, 100.0)]
    scene = telling_places(scene, np.concatenate(tried), want_s / 3)

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


def _bisected(allowed: Callable[[Array, Array], Array], angles: Array) -> Array:
    """Largest allowed radius in each direction. [arcmin]"""
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
