"""Mounts with a known axis, as solved frames in memory: what the benchmarks and some tests measure.

A solution is made as a plate solver makes it: stars scattered over the sensor, white noise on each, a gnomonic
solution fitted to them on the real sky, linear (six numbers) or with a distortion of the order asked for. ``stars=0``
turns the attitudes instead by what such noise amounts to, without the loss of a fit to few stars. Over a field of
many degrees refraction is not linear, so that even noise-free stars leave a linear solution an error, which differs
with the stars.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.frames import SENSOR_WEIGHTS, Frame, FrameSet
from polarcheck.simulate import (
    Camera,
    camera_directions,
    mount_attitudes,
    mount_axis,
    noisy_attitudes,
    sensor_points,
)
from polarcheck.site import Site
from polarcheck.sky.epochs import Epochs
from polarcheck.sky.observed import Pole, Sky
from polarcheck.times import utc_from_iso
from polarcheck.vectors import unit

Array = npt.NDArray[np.float64]
Wrong = tuple[int, float]
"""Which frame, and by how much its solution is off. [arcsec]"""

NORTH = Site(47.3, 11.2, 900.0, "benchmark")
SOUTH = Site(-31.4, 20.6, 1200.0, "benchmark")
CAMERA = Camera()


@dataclass(frozen=True)
class Sweep:
    """Frames of one camera attitude: axis angles and the declination in the mount's frame. [deg]"""

    axis_angles_deg: Sequence[float]
    declination_deg: float = 50.0
    camera: Camera = CAMERA


@dataclass(frozen=True)
class Scene:
    """A mount at a site and the frames taken with it.

    ``barrel_px`` is a radial distortion at the corner; the solutions know it. ``order`` is that of the polynomials that
    each solution fits to its own stars, 5 for 42 numbers.
    """

    sweeps: Sequence[Sweep]
    site: Site = NORTH
    error_arcmin: tuple[float, float] = (23.4, -11.8)
    noise_px: float = 0.2
    stars: int = 100
    barrel_px: float = 0.0
    order: int = 1
    wrong: Sequence[Wrong] = ()
    cadence_s: float = 40.0
    start: str = "2026-11-14T20:30:00"
    attitudes: Array = field(init=False)
    group: npt.NDArray[np.int_] = field(init=False)
    utc: Array = field(init=False)
    epochs: Epochs = field(init=False)

    def __post_init__(self) -> None:
        turned = [
            mount_attitudes(
                self.axis,
                self.site.is_north,
                np.array(sweep.axis_angles_deg) * DEGREE,
                sweep.declination_deg * DEGREE,
                sweep.camera.camera_angle_deg * DEGREE,
            )
            for sweep in self.sweeps
        ]
        object.__setattr__(self, "attitudes", np.concatenate(turned))
        object.__setattr__(self, "group", np.repeat(np.arange(len(turned)), [len(t) for t in turned]))
        day, fraction = utc_from_iso(self.start)
        moments = [(day, fraction + i * self.cadence_s / 86400) for i in range(len(self.group))]
        object.__setattr__(self, "utc", np.array(moments))
        object.__setattr__(self, "epochs", Epochs.of(self.utc))

    @property
    def sky(self) -> Sky:
        """Over the site, under the standard air."""
        return Sky.over(self.site)

    @property
    def pole(self) -> Pole:
        """The refracted one."""
        return self.sky.refracted_pole

    @property
    def axis(self) -> Array:
        """East-North-Up."""
        return mount_axis(self.error_arcmin, self.pole)

    def camera(self, frame: int) -> Camera:
        """The camera that took a frame."""
        return self.sweeps[self.group[frame]].camera

    def directions(self, pixels: Array, camera: Camera) -> Array:
        """Where pixels look in the camera, with the distortion."""
        return camera_directions(_undistorted(pixels, camera, self.barrel_px) + camera.centre_px, camera)


def tracked_hour(start_deg: float, frames: int = 11) -> tuple[float, ...]:
    """Axis angles of a mount that only tracks for an hour. [deg]"""
    return tuple(start_deg + SIDEREAL_RATE / DEGREE * 3600 * np.arange(frames) / (frames - 1))


def frames_of(scene: Scene, rng: np.random.Generator) -> FrameSet:
    """The scene's solved frames with one draw of noise."""
    utc = scene.utc
    return FrameSet(
        tuple(
            Frame(
                path=Path(f"frame_{i + 1:02d}.fits"),
                name=f"frame_{i + 1:02d}.fits",
                folder="",
                width_px=scene.camera(i).width_px,
                height_px=scene.camera(i).height_px,
                sky=sky,
                utc=(float(utc[i, 0]), float(utc[i, 1])),
                exposure_s=5.0,
                pixel_scale_arcsec=scene.camera(i).pixel_scale_arcsec,
                mirrored=scene.camera(i).mirrored,
                site=scene.site,
                solution_file=None,
                notices=(),
            )
            for i, sky in enumerate(solved_sky(scene, rng))
        ),
        (),
    )


def solved_sky(scene: Scene, rng: np.random.Generator) -> Array:
    """ICRS directions of the sensor's nodes as noisy solutions have them, shape (n, 16, 3)."""
    frames = range(len(scene.group))
    places = [_star_places(scene, scene.camera(i), rng) for i in frames]
    seen = np.array([_seen(scene, i, places[i], rng) for i in frames])
    sky = scene.sky.icrs(seen, scene.epochs)
    if scene.stars:
        sky = np.array([_solution(scene, i, places[i], sky[i], rng) for i in frames])
    for frame, angle_arcsec in scene.wrong:
        sky[frame] = _elsewhere(sky[frame], angle_arcsec * ARCSEC, rng)
    return np.asarray(sky)


def _star_places(scene: Scene, camera: Camera, rng: np.random.Generator) -> Array:
    """Pixels of the stars, or of the nodes where there are none."""
    if not scene.stars:
        return sensor_points(camera)
    size = [camera.width_px, camera.height_px]
    return np.asarray(rng.uniform(-0.5, 0.5, (scene.stars, 2)) * size + camera.centre_px)


def _seen(scene: Scene, frame: int, places: Array, rng: np.random.Generator) -> Array:
    camera, attitude = scene.camera(frame), scene.attitudes[frame]
    if not scene.stars:
        attitude = noisy_attitudes(attitude[None], camera, scene.noise_px, rng)[0]
    return np.asarray(scene.directions(places, camera) @ attitude.T)


def _solution(scene: Scene, frame: int, places: Array, sky: Array, rng: np.random.Generator) -> Array:
    """Sky of the nodes by a gnomonic solution fitted to stars whose places are measured with noise."""
    camera = scene.camera(frame)
    measured = places + rng.normal(size=places.shape) * scene.noise_px * np.sqrt(scene.stars)
    centre = sky.mean(axis=0) / np.linalg.norm(sky.mean(axis=0))
    plane = np.linalg.svd(centre[None])[2][1:].T
    offsets = [_undistorted(p, camera, scene.barrel_px) for p in (measured, sensor_points(camera))]
    half = np.array([camera.width_px, camera.height_px]) / 2
    stars, nodes = (_powers(offset / half, scene.order) for offset in offsets)
    terms = np.linalg.lstsq(stars, sky @ plane / (sky @ centre)[:, None], rcond=None)[0]
    there = centre + nodes @ terms @ plane.T
    return np.asarray(there / np.linalg.norm(there, axis=-1, keepdims=True))


def _powers(places: Array, order: int) -> Array:
    """All products of powers of x and y up to an order, for each place."""
    x, y = places.T
    return np.stack([x**i * y**j for i in range(order + 1) for j in range(order + 1 - i)], axis=-1)


def _elsewhere(sky: Array, angle: float, rng: np.random.Generator) -> Array:
    """The same field shifted by an angle in a direction of chance."""
    centre = unit(SENSOR_WEIGHTS @ sky)
    axis = np.cross(centre, rng.normal(size=3))
    axis /= np.linalg.norm(axis)
    along = np.cross(axis, sky)
    return np.asarray(
        sky * np.cos(angle) + along * np.sin(angle) + np.outer(sky @ axis, axis) * (1 - np.cos(angle))
    )


def _undistorted(pixels: Array, camera: Camera, barrel_px: float) -> Array:
    """Offsets from the middle in a camera without distortion. [px]"""
    offsets = np.asarray(pixels, dtype=float) - camera.centre_px
    corner = np.hypot(camera.width_px, camera.height_px) / 2
    square = np.sum(offsets**2, axis=-1, keepdims=True) / corner**2
    return np.asarray(offsets * (1 + barrel_px / corner * square))
