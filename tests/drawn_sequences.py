"""Sequences of one field as files: stars drawn where the attitudes of a mount of known error put them.

Some frames carry their solution, the others only their time. Hot pixels, clouds, a satellite and a change of the pier
side as on request.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
from astropy.io import fits
from astropy.wcs import WCS

from polarcheck.constants import DEGREE
from polarcheck.simulate import Camera, camera_directions
from polarcheck.times import iso_from_utc, utc_from_iso
from polarcheck.vectors import rotation_matrix, spherical_from_direction, tangent_basis, unit
from tests.benchmarks.tracked_mounts import Session, attitudes_of

Array = npt.NDArray[np.float64]

CAMERA = Camera(pixel_scale_arcsec=6.0, width_px=480, height_px=360)
_SKY, _NOISE, _SIGMA_PX = 800.0, 8.0, 1.2


@dataclass(frozen=True)
class Sequence:
    """A session, and what happens to its frames.

    Attributes
    ----------
    solved : tuple of int
        Frames with a solution.
    stars : int
        Over a square three sensors wide.
    hot : int
        Blotches of hot pixels as large as stars, at the same place in every frame.
    clear : callable
        Part of the starlight that reaches a frame.
    satellite : bool
        Whether a bright thing crosses, a few pixels further in each frame.
    flip_at : int or None
        The frame from which on the camera stands on its head, the field off by 2 arcmin.
    """

    session: Session
    solved: tuple[int, ...]
    stars: int = 700
    hot: int = 0
    clear: Callable[[int], float] = field(default=lambda _: 1.0)
    satellite: bool = False
    flip_at: int | None = None
    seed: int = 3

    def write(self, folder: Path) -> Path:
        """Draw the frames into a folder, and return it."""
        rng = np.random.default_rng(self.seed)
        day, fraction = utc_from_iso("2026-11-14T20:30:00")
        seconds = self.session.seconds
        utc = np.stack([np.full(len(seconds), day), fraction + seconds / 86400], axis=-1)
        attitudes = attitudes_of(self.session, utc, rng)
        if self.flip_at is not None:
            attitudes[self.flip_at :] = _flipped(attitudes[self.flip_at :])
        sky = self.session.sky
        centre = sky.icrs(attitudes[:1] @ [0.0, 0.0, 1.0] + np.zeros((1, 1, 3)), utc[:1])[0, 0]
        reach = 1.5 * CAMERA.width_px * CAMERA.pixel_scale_arcsec / 3600 * DEGREE
        places = unit(centre + rng.uniform(-reach, reach, (self.stars, 2)) @ tangent_basis(centre).T)
        light = 300 * rng.uniform(1e-3, 1, self.stars) ** -0.7
        hot = rng.uniform(0.03, 0.97, (self.hot, 2)) * [CAMERA.width_px, CAMERA.height_px]
        for k, (attitude, moment) in enumerate(zip(attitudes, utc, strict=True)):
            seen = sky.observed(places[None], moment[None])[0] @ attitude
            image = _drawn(_pixels(seen), light * self.clear(k), rng)
            image += _drawn(hot, np.full(self.hot, 5000.0), rng, level=0.0)
            if self.satellite:
                image += _drawn(np.array([[20.0 + 9 * k, 300.0 - 5 * k]]), np.array([9000.0]), rng, level=0.0)
            header = _solution(self, attitude, moment) if k in self.solved else fits.Header()
            header["DATE-OBS"] = iso_from_utc((moment[0], moment[1] - 15 / 86400))
            header["EXPTIME"] = 30.0
            fits.PrimaryHDU(np.clip(image, 0, 65535).astype(np.uint16), header).writeto(
                folder / f"light_{k + 1:03d}.fits"
            )
        return folder


def _flipped(attitudes: Array) -> Array:
    sight = attitudes[0] @ [0.0, 0.0, 1.0]
    aside = rotation_matrix(unit(np.cross(sight, [0.0, 0.0, 1.0])), 2 / 60 * DEGREE)
    turns = [aside @ rotation_matrix(a @ [0.0, 0.0, 1.0], np.pi) @ a for a in attitudes]
    return np.array(turns)


def _pixels(seen: Array) -> Array:
    """Pixels of directions in the camera: linear in the gnomonic plane, as three known pixels say."""
    corner = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]])
    plane = camera_directions(corner, CAMERA)
    plane = plane[:, :2] / plane[:, 2:]
    matrix = np.linalg.inv((plane[1:] - plane[0]) / 100)
    return np.asarray((seen[:, :2] / seen[:, 2:] - plane[0]) @ matrix)


def _drawn(places: Array, light: Array, rng: np.random.Generator, level: float = _SKY) -> Array:
    """Gaussians in a noisy sky; in an empty image where the level is 0."""
    shape = (CAMERA.height_px, CAMERA.width_px)
    image = level + (_NOISE * rng.standard_normal(shape) if level else np.zeros(shape))
    span = np.arange(-6, 7)
    for (x, y), peak in zip(places, light, strict=True):
        j, i = round(float(x)), round(float(y))
        if not (6 <= j < shape[1] - 6 and 6 <= i < shape[0] - 6):
            continue
        dx, dy = span - (x - j), span - (y - i)
        star = peak * np.exp(-(dx[None, :] ** 2 + dy[:, None] ** 2) / (2 * _SIGMA_PX**2))
        image[i - 6 : i + 7, j - 6 : j + 7] += star
    return np.asarray(image)


def _solution(sequence: Sequence, attitude: Array, moment: Array) -> fits.Header:
    """A gnomonic solution, linear, fitted to a grid of the sensor."""
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(0, 479, 9), np.linspace(0, 359, 9)))
    seen = camera_directions(np.stack([x, y], axis=-1), CAMERA) @ attitude.T
    icrs = sequence.session.sky.icrs(seen[None], moment[None])[0]
    centre = icrs[40]
    ra, dec = (float(angle) for angle in spherical_from_direction(centre))
    east = np.array([-np.sin(ra), np.cos(ra), 0.0])
    north = np.cross(centre, east)
    plane = np.stack([icrs @ east, icrs @ north], axis=-1) / (icrs @ centre)[:, None] / DEGREE
    design = np.stack([x - 239.5, y - 179.5, np.ones(81)], axis=-1)
    (cd, offset) = np.split(np.linalg.lstsq(design, plane, rcond=None)[0], [2])
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = np.degrees([ra, dec])
    wcs.wcs.cd = cd.T
    wcs.wcs.crpix = np.array([240.5, 180.5]) - np.linalg.solve(cd.T, offset[0])
    return wcs.to_header()
