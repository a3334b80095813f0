"""Star fields drawn with known widths and trails: the truth for what is measured."""

from __future__ import annotations

import numpy as np
from scipy.special import erf

FWHM_PER_SIGMA = 2 * np.sqrt(2 * np.log(2))


def draw(
    shape: tuple[int, int],
    count: int,
    fwhm: float,
    *,
    trail: float = 0.0,
    angle: float = 0.0,
    seed: int = 1,
    peak: tuple[float, float] = (300.0, 20_000.0),
    beta: float | None = None,
    sky: float = 1000.0,
    noise: float = 12.0,
    tint: np.ndarray | None = None,
    sampled: bool = False,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """An image in counts, and the places of its stars.

    Gaussians integrated over the pixels, or Moffat profiles of index beta, on 5 x 5 points of each; all sampled at the
    pixels' centres on request. Moved along a trail [px] at an angle [deg, from +x towards +y], with photon noise (1.5
    electrons a count) and an even sky with noise.
    """
    rng = np.random.default_rng(seed)
    height, width = shape
    image = sky + noise * rng.standard_normal(shape)
    reach = int(np.ceil(4.5 * fwhm / FWHM_PER_SIGMA * (3 if beta else 1) + trail / 2 + 2))
    x = rng.uniform(reach + 1, width - reach - 2, count)
    y = rng.uniform(reach + 1, height - reach - 2, count)
    heights = np.exp(rng.uniform(*np.log(peak), count))
    steps = max(1, int(4 * trail) + 1)
    along = ((np.arange(steps) + 0.5) / steps - 0.5) * trail
    span = np.arange(-reach, reach + 1)
    for x0, y0, top in zip(x, y, heights, strict=True):
        i, j = round(float(y0)), round(float(x0))
        star = np.zeros((len(span), len(span)))
        for step in along:
            dx = span - (x0 - j) - step * np.cos(np.radians(angle))
            dy = span - (y0 - i) - step * np.sin(np.radians(angle))
            star += _profile(dx, dy, fwhm, beta, sampled)
        star *= top / steps
        if tint is not None:
            star *= tint[i - reach : i + reach + 1, j - reach : j + reach + 1]
        star += np.sqrt(np.maximum(star, 0) / 1.5) * rng.standard_normal(star.shape)
        image[i - reach : i + reach + 1, j - reach : j + reach + 1] += star
    return image.astype(np.float32), x, y


def _profile(dx: np.ndarray, dy: np.ndarray, fwhm: float, beta: float | None, sampled: bool) -> np.ndarray:
    if beta is not None:
        alpha = fwhm / (2 * np.sqrt(2 ** (1 / beta) - 1))
        steps = (np.arange(5) - 2) / 5 if not sampled else np.zeros(1)
        parts = [
            (1 + ((dx[None, :] + a) ** 2 + (dy[:, None] + b) ** 2) / alpha**2) ** -beta
            for a in steps
            for b in steps
        ]
        return np.asarray(np.mean(parts, axis=0))
    scale = fwhm / FWHM_PER_SIGMA * np.sqrt(2)
    if sampled:
        return np.exp(-((dx[None, :] / scale) ** 2) - (dy[:, None] / scale) ** 2)
    parts = [(erf((d + 0.5) / scale) - erf((d - 0.5) / scale)) / 2 for d in (dx, dy)]
    return np.outer(parts[1], parts[0]) * (2 * np.pi * (fwhm / FWHM_PER_SIGMA) ** 2)


def recorded(fwhm: float, trail: float = 0.0) -> tuple[float, float]:
    """Recorded FWHM and elongation: the pixel adds 1/12 px^2 to the variance, an even trail L^2 / 12 along it."""
    across = (fwhm / FWHM_PER_SIGMA) ** 2 + 1 / 12
    return FWHM_PER_SIGMA * np.sqrt(across), np.sqrt((across + trail**2 / 12) / across)
