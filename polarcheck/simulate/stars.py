"""An invented sky and its light on a simulated sensor, so that simulated frames have stars to look at.

For one camera the sky is the same in every simulation, as the real one is: a star seen before a turn of the
knobs is there after it. Its stars are nobody's: one to a cell of the sphere, at a place and of a brightness
that only the cell's number decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from polarcheck.constants import ARCSEC
from polarcheck.simulate.mount import Camera, camera_pixels
from polarcheck.sky import Sky
from polarcheck.vectors import Array, direction_from_spherical, spherical_from_direction

__all__ = ["exposed", "invented_stars"]

_STARS = 60  # on a sensor, about
_LEAST_CELL_PX = 40.0  # fewer stars on a small sensor, so that they stand apart
_FAINTEST, _BRIGHTEST = 3.2, 5.0  # decimal logarithm of a star's counts
_FWHM_PX = 2.5
_SIGMA_PX = _FWHM_PX / np.sqrt(8 * np.log(2))
_SKY, _NOISE = 100.0, 1.2  # counts of a pixel without a star, and their scatter; stars add none


def exposed(attitude: Array, moment: Array, sky: Sky, camera: Camera, seed: Sequence[int]) -> Any:
    """Return the counts, 16 bit, of a sensor that sees the invented sky.

    Parameters
    ----------
    attitude : ndarray, shape (3, 3)
        Carries camera vectors to East-North-Up.
    moment : ndarray, shape (2,)
        Two-part UTC Julian date of mid-exposure.
    sky, camera
        As for `simulate_frames`.
    seed : sequence of int
        Of the noise.

    Returns
    -------
    ndarray, shape (height, width), of uint16
    """
    places, counts = _on_sensor(attitude, moment, sky, camera)
    image = _dark_sky(camera, np.random.default_rng(list(seed)))
    for place, light in zip(places, counts, strict=True):
        _add_star(image, place, float(light))
    return image


def invented_stars(centre: Array, radius: float, cell: float) -> tuple[Array, Array]:
    """Return the invented stars about a place on the sky.

    Parameters
    ----------
    centre : ndarray, shape (3,)
        ICRS unit vector.
    radius : float
        All stars up to there come back, and a few beyond. [rad]
    cell : float
        Side of the cells, one star to each. [rad]

    Returns
    -------
    directions : ndarray, shape (n, 3)
        ICRS unit vectors.
    counts : ndarray, shape (n,)
        Brightness, in counts of a whole star.
    """
    ra, dec = (float(angle) for angle in spherical_from_direction(centre))
    bands = max(1, round(np.pi / cell))
    height = np.pi / bands
    first, last = (int((dec + sign * radius + np.pi / 2) // height) for sign in (-1, 1))
    stars = []
    for band in range(max(first, 0), min(last, bands - 1) + 1):
        low = band * height - np.pi / 2
        columns = max(1, round(2 * np.pi * np.cos(low + height / 2) / cell))
        for column in _columns(ra, dec, radius, columns):
            along, up, bright = np.random.default_rng([band, column, bands]).random(3)
            sine = np.sin(low) + up * (np.sin(low + height) - np.sin(low))
            counts = 10 ** (_FAINTEST + bright * (_BRIGHTEST - _FAINTEST))
            stars.append(((column + along) * 2 * np.pi / columns, np.arcsin(np.clip(sine, -1, 1)), counts))
    table = np.array(stars).reshape(-1, 3)
    return direction_from_spherical(table[:, 0], table[:, 1]), table[:, 2]


def _columns(ra: float, dec: float, radius: float, columns: int) -> range | list[int]:
    """Cells of a band that a circle on the sky may touch; all of them where it holds a pole."""
    if radius + abs(dec) >= np.pi / 2:
        return range(columns)
    half = np.arcsin(np.sin(radius) / np.cos(dec))
    first, last = (int(np.floor((ra + sign * half) / (2 * np.pi) * columns)) for sign in (-1, 1))
    return sorted({column % columns for column in range(first, min(last, first + columns - 1) + 1)})


def _on_sensor(attitude: Array, moment: Array, sky: Sky, camera: Camera) -> tuple[Array, Array]:
    pixel = camera.pixel_scale_arcsec * ARCSEC
    size = np.array([camera.width_px, camera.height_px])
    cell = max(float(np.sqrt(size.prod() / _STARS)), _LEAST_CELL_PX) * pixel
    radius = float(np.arctan(np.hypot(*size) / 2 * pixel)) * 1.01
    centre = sky.icrs(attitude[None, None, :, 2], moment[None])[0, 0]
    stars, counts = invented_stars(centre, radius, cell)
    observed = sky.observed(stars[None], moment[None])[0]
    places = camera_pixels(observed @ attitude, camera)
    with np.errstate(invalid="ignore"):
        reach = _reach_px(counts)[:, None]
        near = ((places > -reach) & (places < size + reach)).all(axis=-1)
    return places[near], counts[near]


def _dark_sky(camera: Camera, rng: np.random.Generator) -> Any:
    image = np.empty((camera.height_px, camera.width_px), dtype=np.uint16)
    for row in image:  # one at a time, which keeps large sensors small in memory
        row[:] = np.rint(_SKY + _NOISE * rng.standard_normal(len(row), dtype=np.float32))
    return image


def _reach_px(counts: Array) -> Array:
    """How far a star's light adds a count to a pixel: farther out it rounds to nothing."""
    return np.asarray(np.ceil(_SIGMA_PX * np.sqrt(2 * np.log(counts))))


def _add_star(image: Any, place: Array, counts: float) -> None:
    """Add a Gaussian star, integrated over each pixel."""
    from scipy.special import ndtr

    middle = np.floor(place).astype(int)
    reach = int(_reach_px(np.asarray(counts)))
    first = np.maximum(middle - reach, 0)
    last = np.minimum(middle + reach + 1, image.shape[::-1])
    if np.any(first >= last):
        return
    x, y = (
        np.diff(ndtr((np.arange(a, b + 1) - 0.5 - c) / _SIGMA_PX))
        for a, b, c in zip(first, last, place, strict=True)
    )
    part = image[first[1] : last[1], first[0] : last[0]]
    part[:] = np.clip(np.rint(part + counts * np.outer(y, x)), 0, 65535)
