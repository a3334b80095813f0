"""Mounts that follow the sky, guided or not, with errors that last: frames in memory, for benchmarks and tests.

The attitudes are made by the exact motion of the mount: about its axis alone at the sidereal rate with a periodic
error, or, guided, by the turns about both mount axes that hold the star in the middle. Noise turns the attitudes: white
noise as evenly spread stars have it, and beside it, in place, errors of the kind AR(1).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.frames import Frame, FrameSet
from polarcheck.simulate import (
    Camera,
    camera_directions,
    mount_attitudes,
    mount_axis,
    noisy_attitudes,
    sensor_points,
)
from polarcheck.site import Site
from polarcheck.sky import Sky, guided_attitude, tracking_attitude
from polarcheck.times import utc_from_iso
from polarcheck.vectors import rotation_matrix
from tests.benchmarks.mounts import CAMERA, NORTH

__all__ = ["Session", "attitudes_of", "frames_of"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Session:
    """Frames of one field, followed for some hours.

    Attributes
    ----------
    guided : bool
        Whether a guider holds the star in the middle.
    dither_px : float
        Guided: half-width of the square within which the guide star is put anew at every third frame.
    flip : bool
        Whether the mount changes the pier side in the middle: the camera then stands on its head, the field off by
        some arcmin.
    lasting_arcsec, lasting_s : float
        Root mean square of what lasts of the place's error in each direction, and its correlation time.
    lasting_roll_arcsec : float
        The same of the camera's rotation.
    periodic_arcsec, periodic_s : float
        Amplitude and period of the drive's error. Guided frames have none.
    """

    error_arcmin: tuple[float, float] = (23.4, -11.8)
    site: Site = NORTH
    declination_deg: float = 50.0
    start_deg: float = -20.0
    hours: float = 2.0
    frames: int = 40
    guided: bool = False
    dither_px: float = 0.0
    flip: bool = False
    noise_px: float = 0.2
    lasting_arcsec: float = 0.0
    lasting_s: float = 600.0
    lasting_roll_arcsec: float = 0.0
    periodic_arcsec: float = 0.0
    periodic_s: float = 480.0
    camera: Camera = CAMERA

    @property
    def sky(self) -> Sky:
        """Over the site, under the standard air."""
        return Sky.over(self.site)

    @property
    def axis(self) -> Array:
        """East-North-Up."""
        return mount_axis(self.error_arcmin, self.sky.refracted_pole)

    @property
    def seconds(self) -> Array:
        """Since the first frame."""
        return np.linspace(0.0, self.hours * 3600, self.frames)


def frames_of(session: Session, rng: np.random.Generator) -> FrameSet:
    """The solved frames with one draw of noise."""
    day, fraction = utc_from_iso("2026-11-14T20:30:00")
    utc = np.stack([np.full(session.frames, day), fraction + session.seconds / 86400], axis=-1)
    attitudes = _noisy(session, attitudes_of(session, utc, rng), rng)
    points = camera_directions(sensor_points(session.camera), session.camera)
    places = session.sky.icrs(np.einsum("nij,kj->nki", attitudes, points), utc)
    return FrameSet(
        tuple(
            Frame(
                path=Path(f"light_{i + 1:03d}.fits"),
                name=f"light_{i + 1:03d}.fits",
                folder="",
                width_px=session.camera.width_px,
                height_px=session.camera.height_px,
                sky=place,
                utc=(float(moment[0]), float(moment[1])),
                exposure_s=60.0,
                pixel_scale_arcsec=session.camera.pixel_scale_arcsec,
                mirrored=session.camera.mirrored,
                site=session.site,
                solution_file=None,
                notices=(),
            )
            for i, (place, moment) in enumerate(zip(places, utc, strict=True))
        ),
        (),
    )


def attitudes_of(session: Session, utc: Array, rng: np.random.Generator) -> Array:
    """Camera to East-North-Up, of each frame, shape (n, 3, 3)."""
    north = session.site.is_north
    angle = session.start_deg * DEGREE
    declination = session.declination_deg * DEGREE * (1 if north else -1)
    turn = session.camera.camera_angle_deg * DEGREE
    first = mount_attitudes(session.axis, north, np.array([angle]), declination, turn)[0]
    if not session.guided:
        wave = np.sin(2 * np.pi * session.seconds / session.periodic_s + rng.uniform(0, 2 * np.pi))
        turned = SIDEREAL_RATE * session.seconds + session.periodic_arcsec * ARCSEC * wave
        return np.asarray(tracking_attitude(session.axis, turned, north) @ first)
    half = session.frames // 2 if session.flip else session.frames
    parts = [_guided(session, utc[:half], first, rng)]
    if session.flip:
        sight = parts[0][-1] @ [0.0, 0.0, 1.0]
        aside = rotation_matrix(np.cross(sight, [0.0, 0.0, 1.0]) / np.hypot(*sight[:2]), 3e-4)
        parts.append(_guided(session, utc[half:], aside @ rotation_matrix(sight, np.pi) @ parts[0][-1], rng))
    return np.concatenate(parts)


def _guided(session: Session, utc: Array, first: Array, rng: np.random.Generator) -> Array:
    """Attitudes of a camera whose middle stays on a star, but for dithering."""
    sight = first @ [0.0, 0.0, 1.0]
    star = session.sky.icrs(sight[None, None], utc[:1])[0, 0]
    seen = session.sky.observed(np.broadcast_to(star, (len(utc), 1, 3)), utc)[:, 0]
    steps = rng.uniform(-1, 1, (-(-len(utc) // 3), 2)) * session.dither_px
    moved = np.repeat(steps, 3, axis=0)[: len(utc)] + session.camera.centre_px
    guide = camera_directions(moved, session.camera) @ first.T
    turned = [guided_attitude(s, g, sight, session.axis) for s, g in zip(seen, guide, strict=True)]
    return np.asarray(np.stack(turned) @ first)


def _noisy(session: Session, attitudes: Array, rng: np.random.Generator) -> Array:
    noisy = noisy_attitudes(attitudes, session.camera, session.noise_px, rng)
    sizes = np.array([session.lasting_arcsec] * 2 + [session.lasting_roll_arcsec]) * ARCSEC
    if not sizes.any():
        return noisy
    fades = np.exp(-np.diff(session.seconds) / session.lasting_s)
    walk = np.empty((len(noisy), 3))
    walk[0] = rng.normal(size=3)
    for i, fade in enumerate(fades):
        walk[i + 1] = fade * walk[i] + np.sqrt(1 - fade**2) * rng.normal(size=3)
    vectors = walk * sizes
    angles = np.linalg.norm(vectors, axis=-1)
    return np.asarray(noisy @ rotation_matrix(vectors / angles[:, None], angles))
