"""Solved frames of a mount with a known axis error, written as files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.constants import DEGREE, FRAME_NOISE_PX, SIDEREAL_RATE
from polarcheck.errors import InputError
from polarcheck.given import PathLike, SiteLike, UtcLike, as_pair, as_path, as_site, as_utc
from polarcheck.simulate.cards import Cards, SiteKeywords, site_cards, time_cards, wcs_cards
from polarcheck.simulate.folder import TRUTH, clear_others, fresh_paths
from polarcheck.simulate.mount import (
    Camera,
    camera_directions,
    mount_attitudes,
    mount_axis,
    noisy_attitudes,
    sensor_points,
)
from polarcheck.simulate.schema import TruthSchema
from polarcheck.simulate.stars import exposed
from polarcheck.sky import Atmosphere, PoleKind, Sky
from polarcheck.vectors import Array
from polarcheck.writing import new_file, write_text

__all__ = ["Setup", "Sweep", "refuse_low", "simulate_frames", "write_frame"]

_LOWEST_DEG = 10.0  # below this the air is too thick for a solver, and refraction too uncertain
_LONGEST_ARC_DEG = 80.0
_FIRST_JD, _LAST_JD = 2436934.5, 2488434.5  # 1960-01-01 and 2101-01-01, as the reader of frames has it
_MOST_NOISE_PX = 1000.0
_MOST_PIXELS = 200_000_000  # of an image; larger than any camera's


@dataclass(frozen=True, slots=True)
class Sweep:
    """Which frames are taken.

    Attributes
    ----------
    axis_angles_deg : sequence of float or None
        One per frame, growing westward from the meridian; None: evenly over at most 80 deg west of it. While only
        tracking, the first one is the start. [deg]
    declination_deg : float or None
        Of the boresight in the mount's own frame; None: 50 deg towards the visible pole. [deg]
    count : int
        How many frames, where `axis_angles_deg` does not say.
    exposure_s, cadence_s : float
        Length of an exposure, and time from one mid-exposure to the next. [s]
    tracking_only : bool
        Whether the mount merely tracks at the sidereal rate, from the first frame on.
    """

    axis_angles_deg: Sequence[float] | None = None
    declination_deg: float | None = None
    count: int = 7
    exposure_s: float = 5.0
    cadence_s: float = 40.0
    tracking_only: bool = False

    def angles_deg(self, axis: Array, is_north: bool, declination: float) -> Array:
        """Return each frame's axis angle for a mount's axis and a declination in its own frame. [deg]"""
        if self.tracking_only:
            start = 20.0 if self.axis_angles_deg is None else self.axis_angles_deg[0]
            return _tracking_angles_deg(start, self.count, self.cadence_s)
        if self.axis_angles_deg is None:
            return _default_angles_deg(axis, is_north, declination, self.count)
        return np.array(self.axis_angles_deg, dtype=np.float64)

    @property
    def frames(self) -> int:
        """How many there are."""
        given = self.count if self.axis_angles_deg is None else len(self.axis_angles_deg)
        return min(self.count, given) if self.tracking_only else given


@dataclass(frozen=True, slots=True)
class Setup:
    """What takes them, and how well they are solved.

    Attributes
    ----------
    camera : Camera
        By default the demo rig's.
    noise_px : float
        Noise of each frame's pointing per coordinate; see `noisy_attitudes`. [px]
    seed : int
        Of the noise; the same seed gives the same frames.
    pole : {"refracted", "true"}
        What the error refers to.
    atmosphere : Atmosphere or None
        None: the standard one at the site.
    site_keywords : {"geodetic", "sexagesimal"}
        How the headers give the site: OBSGEO-B, -L, -H or SITELAT, SITELONG, SITEELEV.
    """

    camera: Camera = field(default_factory=Camera)
    noise_px: float = FRAME_NOISE_PX
    seed: int = 0
    pole: PoleKind = "refracted"
    atmosphere: Atmosphere | None = None
    site_keywords: SiteKeywords = "geodetic"


def simulate_frames(
    folder: PathLike,
    *,
    error_arcmin: tuple[float, float],
    site: SiteLike,
    utc: UtcLike,
    sweep: Sweep | None = None,
    setup: Setup | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Path]:
    """Write solved frames of a mount with a known axis error, and ``truth.json`` beside them.

    Parameters
    ----------
    folder : path
        Made if missing. Frames of an earlier simulation in it are replaced; it may hold nothing else.
    error_arcmin : tuple of float
        Azimuth and altitude error, axis minus pole. [arcmin]
    site : Site, or what `polarcheck.given.as_site` takes
        Where: also ``(47.3, 11.2)`` or ``"47.3,11.2,900"``.
    utc : tuple of float, or what `polarcheck.given.as_utc` takes
        First mid-exposure, kept to a millisecond: also ``"2026-11-14T21:10:00"`` or an astropy `Time`.
    sweep : Sweep, optional
        Which frames; by default seven over up to 80 deg.
    setup : Setup, optional
        Camera, noise, air and the pole that the error refers to.
    progress : callable, optional
        Called with the number of frames written and of all frames.

    Returns
    -------
    list of pathlib.Path
        The frames, in order of time.

    Raises
    ------
    InputError
        A frame would look below 10 deg of altitude, an argument is impossible, or the folder holds other files.
    """
    folder, site, utc = as_path(folder, "folder"), as_site(site), as_utc(utc)
    error_arcmin = as_pair(error_arcmin, "error_arcmin")
    sweep, setup = sweep or Sweep(), setup or Setup()
    camera = setup.camera
    sky = Sky.over(site) if setup.atmosphere is None else Sky(site, setup.atmosphere)
    declination = (
        (50.0 if site.is_north else -50.0) if sweep.declination_deg is None else sweep.declination_deg
    )
    _check_time(utc)
    _check(sweep.exposure_s, sweep.cadence_s, setup.noise_px, declination, sweep.frames, camera)
    axis = mount_axis(error_arcmin, sky.pole(setup.pole))
    angles = sweep.angles_deg(axis, site.is_north, declination)
    attitudes = _attitudes(axis, site.is_north, angles, declination, camera)
    refuse_low(attitudes, angles)
    moments = _moments(utc, sweep.exposure_s, sweep.cadence_s, len(angles))
    noisy = noisy_attitudes(attitudes, camera, setup.noise_px, np.random.default_rng(setup.seed))
    seen = np.einsum("nij,kj->nki", noisy, camera_directions(sensor_points(camera), camera))
    places = sky.icrs(seen, moments)
    paths = fresh_paths(folder, len(angles))
    for i, (path, points, moment) in enumerate(zip(paths, places, moments, strict=True)):
        cards = time_cards(moment, sweep.exposure_s) + site_cards(site, setup.site_keywords)
        light = exposed(attitudes[i], moment, sky, camera, [setup.seed, i])
        _write(path, cards + wcs_cards(points, camera), light)
        if progress is not None:
            progress(i + 1, len(paths))
    truth = TruthSchema.of(
        axis,
        sky.pole(setup.pole),
        sky,
        camera,
        seed=setup.seed,
        noise_px=setup.noise_px,
        frames=[{"file": p.name, "axis_angle_deg": float(a)} for p, a in zip(paths, angles, strict=True)],
        declination_deg=declination,
    )
    clear_others(folder, paths)
    write_text(folder / TRUTH, truth.to_json())
    return paths


def write_frame(
    path: Path,
    attitude: Array,
    *,
    utc: tuple[float, float],
    sky: Sky,
    camera: Camera,
    exposure_s: float = 5.0,
    seed: int | None = None,
) -> None:
    """Write one solved frame of a camera whose attitude is known.

    Parameters
    ----------
    path : pathlib.Path
        Ends in ``.fits.fz``; replaced if it exists.
    attitude : ndarray, shape (3, 3)
        Carries camera vectors to East-North-Up; with its noise, see `noisy_attitudes`.
    utc : tuple of float
        Two-part UTC Julian date of the mid-exposure, kept to a millisecond.
    sky, camera, exposure_s
        The sky over the site; else as for `simulate_frames`.
    seed : int, optional
        Of the pixels' noise; without it the pixels are blank, which is quicker.
    """
    moment = _moments(utc, exposure_s, 0.0, 1)
    seen = camera_directions(sensor_points(camera), camera) @ attitude.T
    points = sky.icrs(seen[None], moment)[0]
    about = time_cards(moment[0], exposure_s) + site_cards(sky.site, "geodetic")
    if seed is None:
        light = np.zeros((camera.height_px, camera.width_px), dtype=np.int16)
    else:
        light = exposed(attitude, moment[0], sky, camera, [seed])
    _write(path, about + wcs_cards(points, camera), light)


def _check(
    exposure_s: float, cadence_s: float, noise_px: float, declination: float, count: int, camera: Camera
) -> None:
    if not 0 < exposure_s <= cadence_s:
        raise InputError(f"exposures of {exposure_s:g} s every {cadence_s:g} s are not possible")
    if not 0 <= noise_px <= _MOST_NOISE_PX:
        raise InputError(f"a noise of {noise_px:g} px is not possible")
    if not abs(declination) <= 90:
        raise InputError(f"declination {declination:g} deg is not within -90 to 90")
    if not camera.width_px * camera.height_px <= _MOST_PIXELS:
        raise InputError(
            f"a sensor of {camera.width_px} x {camera.height_px} px is too large to write images of"
        )
    if not 1 <= count <= 10_000:
        raise InputError(f"{count} frames are not possible: give 1 to 10000")


def _check_time(utc: tuple[float, float]) -> None:
    if not _FIRST_JD <= utc[0] + utc[1] < _LAST_JD:
        raise InputError("the time is not within 1960 to 2100, where UTC can be had")


def _attitudes(axis: Array, is_north: bool, angles_deg: Array, declination: float, camera: Camera) -> Array:
    camera_angle = camera.camera_angle_deg * DEGREE
    return mount_attitudes(axis, is_north, angles_deg * DEGREE, declination * DEGREE, camera_angle)


def _tracking_angles_deg(start_deg: float, count: int, cadence_s: float) -> Array:
    return np.asarray(start_deg + np.arange(count) * cadence_s * SIDEREAL_RATE / DEGREE, dtype=np.float64)


def _default_angles_deg(axis: Array, is_north: bool, declination: float, count: int) -> Array:
    """Evenly from 5 deg west of the meridian, over 80 deg or as far as the sky is high enough."""
    candidates = 5.0 + np.arange(0, _LONGEST_ARC_DEG + 1, 5.0)
    high = _altitudes_deg(_attitudes(axis, is_north, candidates, declination, Camera())) > _LOWEST_DEG + 5
    usable = int(np.argmin(high)) if not high.all() else len(high)
    return np.linspace(candidates[0], candidates[max(usable - 1, 0)], count)


def _altitudes_deg(attitudes: Array) -> Array:
    return np.asarray(np.arcsin(np.clip(attitudes[:, 2, 2], -1, 1)) / DEGREE)


def refuse_low(attitudes: Array, angles_deg: Array) -> None:
    """Refuse frames that would look below 10 deg of altitude."""
    altitudes = _altitudes_deg(attitudes)
    worst = int(np.argmin(altitudes))
    if not altitudes[worst] >= _LOWEST_DEG:
        raise InputError(
            f"at axis angle {angles_deg[worst]:.1f} deg the camera would look to altitude "
            f"{altitudes[worst]:.1f} deg, below {_LOWEST_DEG:g}; choose other axis angles or a declination "
            "nearer the visible pole"
        )


def _moments(utc: tuple[float, float], exposure_s: float, cadence_s: float, count: int) -> Array:
    """Mid-exposures, shape (count, 2), that are exact for starts written to a millisecond."""
    day = np.floor(utc[0] - 0.5) + 0.5
    half = exposure_s / 2
    starts = (utc[0] - day + utc[1]) * 86400 + np.arange(count) * cadence_s - half
    return np.stack([np.full(count, day), (np.round(starts, 3) + half) / 86400], axis=-1)


def _write(path: Path, cards: Cards, light: Any) -> None:
    from astropy.io import fits

    header = fits.Header([("OBJECT", "simulated mount", "nobody's stars"), *cards])
    image = fits.CompImageHDU(light, header, compression_type="RICE_1")
    packed = BytesIO()
    fits.HDUList([fits.PrimaryHDU(), image]).writeto(packed)
    with new_file(path) as stream:
        stream.write(packed.getbuffer())
