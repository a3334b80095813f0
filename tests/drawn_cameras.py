"""Star fields as a colour camera records them: the truth for widths on mosaics.

Photons first: stars of many colours and a coloured, sloping sky through a lens with vignetting; then the colours' own
sensitivities, shot noise, read noise, a pedestal, hot pixels, a full well, and whole numbers of 12 or 14 bits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt
from scipy.ndimage import map_coordinates, spline_filter, uniform_filter
from scipy.special import erf

from tests.drawn_stars import FWHM_PER_SIGMA

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Shot:
    """One exposure.

    Attributes
    ----------
    fwhm, trail, angle : float
        Of the profile before the pixels integrate it, and of an even trail. [px], [px], [deg]
    beta : float or None
        Of a Moffat profile; a Gaussian otherwise.
    pattern : str or None
        Order of the colours; None: no mosaic.
    gains : tuple of float
        Sensitivity of red, green and blue, white balance included.
    tints : float
        Spread of the stars' colours: standard deviation of the logarithm of blue over red.
    sky, slope : float
        Sky in the most sensitive colour, and by which part it grows over the width. [electron]
    sky_colour : tuple of float
        Of red, green and blue, before the gains.
    vignetting : float
        Part of the light lost in the corners.
    read_noise : float
        [electron]
    pedestal : float
        [count]
    electrons : float
        For each count of the camera.
    bits : int
        Of the camera; counts are shifted up to 16.
    hot : float
        Part of the pixels that are hot.
    peak : tuple of float
        Least and most electrons in the brightest pixel of a white star, about.
    """

    shape: tuple[int, int] = (1000, 1500)
    count: int = 150
    fwhm: float = 2.5
    trail: float = 0.0
    angle: float = 0.0
    beta: float | None = None
    pattern: str | None = "RGGB"
    gains: tuple[float, float, float] = (0.55, 1.0, 0.7)
    tints: float = 0.3
    sky: float = 400.0
    slope: float = 0.2
    sky_colour: tuple[float, float, float] = (1.0, 1.0, 0.8)
    vignetting: float = 0.2
    read_noise: float = 3.0
    pedestal: float = 500.0
    electrons: float = 1.0
    bits: int = 14
    hot: float = 2e-4
    peak: tuple[float, float] = (200.0, 20_000.0)
    seed: int = 1

    def draw(self) -> npt.NDArray[np.uint16]:
        """The file's counts."""
        rng = np.random.default_rng(self.seed)
        height, width = self.shape
        response = self._response()
        x, y = np.arange(width), np.arange(height)[:, None]
        far = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (width**2 + height**2) * 4
        flat = 1 - self.vignetting * far
        light = (
            self.sky
            * (1 + self.slope * (x / width - 0.5))
            * flat
            * _tiled(np.array(self.sky_colour) * self.gains, response, self.shape)
        )
        self._add_stars(light, flat, response, rng)
        electrons = rng.poisson(np.maximum(light, 0)) + self.read_noise * rng.standard_normal(self.shape)
        counts = electrons / self.electrons + self.pedestal / 2 ** (16 - self.bits)
        hot = rng.uniform(size=self.shape) < self.hot
        counts[hot] += rng.uniform(100, 10_000, int(hot.sum()))
        full = 2**self.bits - 1
        return (np.clip(np.rint(counts), 0, full) * 2 ** (16 - self.bits)).astype(np.uint16)

    def _response(self) -> npt.NDArray[np.int_]:
        """Which colour each pixel of the pattern has, shape (2, 2)."""
        return np.array(["RGB".index(c) for c in self.pattern or "GGGG"]).reshape(2, 2)

    def _add_stars(
        self, light: Array, flat: Array, response: npt.NDArray[np.int_], rng: np.random.Generator
    ) -> None:
        height, width = self.shape
        reach = int(np.ceil(4.5 * self.fwhm / FWHM_PER_SIGMA * (3 if self.beta else 1) + self.trail / 2 + 2))
        x = rng.uniform(reach + 1, width - reach - 2, self.count)
        y = rng.uniform(reach + 1, height - reach - 2, self.count)
        peaks = np.exp(rng.uniform(*np.log(self.peak), self.count))
        colour = self.tints * rng.standard_normal(self.count) / 2
        span = np.arange(-reach, reach + 1)
        winged = None
        if self.beta is not None:
            winged = Winged.of(reach + 1, self.fwhm, self.trail, self.angle, self.beta)
        for x0, y0, peak, blue in zip(x, y, peaks, colour, strict=True):
            i, j = round(float(y0)), round(float(x0))
            dx, dy = span - (x0 - j), span - (y0 - i)
            if winged is None:
                star = peak * profile(dx, dy, self.fwhm, self.trail, self.angle, None)
            else:
                star = peak * winged.at(dx, dy)
            gains = np.array(self.gains) * np.exp([-blue, 0.0, blue])
            part = (slice(i - reach, i + reach + 1), slice(j - reach, j + reach + 1))
            rolled = np.roll(response, (-(i - reach) % 2, -(j - reach) % 2), (0, 1))
            light[part] += star * flat[part] * _tiled(gains, rolled, star.shape)


def _tiled(values: Array, response: npt.NDArray[np.int_], shape: tuple[int, ...]) -> Array:
    tile = values[response]
    return np.tile(tile, (shape[0] // 2 + 1, shape[1] // 2 + 1))[: shape[0], : shape[1]]


def profile(dx: Array, dy: Array, fwhm: float, trail: float, angle: float, beta: float | None) -> Array:
    """A star integrated over pixels, its brightest point 1 without a trail, shape (dy, dx)."""
    steps = max(1, int(4 * trail) + 1)
    along = ((np.arange(steps) + 0.5) / steps - 0.5) * trail
    star = np.zeros((len(dy), len(dx)))
    for step in along:
        ax, ay = dx - step * np.cos(np.radians(angle)), dy - step * np.sin(np.radians(angle))
        star += _still(ax, ay, fwhm, beta)
    return star / steps


def _still(dx: Array, dy: Array, fwhm: float, beta: float | None) -> Array:
    if beta is None:
        scale = fwhm / FWHM_PER_SIGMA * np.sqrt(2)
        parts = [(erf((d + 0.5) / scale) - erf((d - 0.5) / scale)) / 2 for d in (dx, dy)]
        return np.outer(parts[1], parts[0]) * np.pi * scale**2
    alpha = fwhm / (2 * np.sqrt(2 ** (1 / beta) - 1))
    fine = (np.arange(7) - 3) / 7
    across, down = (dx[:, None] + fine).ravel(), (dy[:, None] + fine).ravel()
    star = (1 + (across[None, :] ** 2 + down[:, None] ** 2) / alpha**2) ** -beta
    return np.asarray(star.reshape(len(dy), 7, len(dx), 7).mean(axis=(1, 3)))


_FINE = 7  # points for each pixel


@dataclass(frozen=True)
class Winged:
    """What `profile` gives of a star with wings, drawn once and interpolated: thousands of stars take seconds."""

    reach: int
    splines: Array

    @classmethod
    def of(cls, reach: int, fwhm: float, trail: float, angle: float, beta: float) -> Self:
        """Draw it up to ``reach`` pixels from its middle."""
        alpha = fwhm / (2 * np.sqrt(2 ** (1 / beta) - 1))
        span = np.arange(-(reach + 1) * _FINE, (reach + 1) * _FINE + 1) / _FINE
        steps = max(1, int(4 * trail) + 1)
        star = np.zeros((len(span), len(span)))
        for step in ((np.arange(steps) + 0.5) / steps - 0.5) * trail:
            ax, ay = span - step * np.cos(np.radians(angle)), span - step * np.sin(np.radians(angle))
            star += (1 + (ax**2 + ay[:, None] ** 2) / alpha**2) ** -beta
        return cls(reach + 1, spline_filter(uniform_filter(star / steps, _FINE)))

    def at(self, dx: Array, dy: Array) -> Array:
        """Pixels at distances from its middle, shape (dy, dx)."""
        rows, columns = np.meshgrid((dy + self.reach) * _FINE, (dx + self.reach) * _FINE, indexing="ij")
        return np.asarray(map_coordinates(self.splines, [rows, columns], prefilter=False))
