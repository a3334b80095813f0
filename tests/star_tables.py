"""Star tables without an image: what the stars of a frame amount to is asked of them directly."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from polarcheck.stars import StarTable
from polarcheck.vectors import Array

WIDTH, HEIGHT = 1200, 900


def star_table(
    places: Array,
    *,
    flux: Array | None = None,
    across: float | Array = 3.0,
    elongation: float | Array = 1.05,
    trail: float | Array = 0.0,
    angle: float | Array = 0.0,
    has_shape: npt.NDArray[np.bool_] | None = None,
) -> StarTable:
    """A table of stars at places [px], the brightest first; `across`, `trail` in px, `angle` in degrees."""
    count = len(places)

    def each(value: float | Array) -> Array:
        return np.broadcast_to(np.asarray(value, dtype=float), (count,)).copy()

    light = np.linspace(2e4, 1e4, count) if flux is None else np.asarray(flux, dtype=float)
    long, turned = each(elongation), np.radians(2 * each(angle))
    size = (long**2 - 1) / (long**2 + 1)
    return StarTable(
        x_px=np.asarray(places, dtype=float)[:, 0],
        y_px=np.asarray(places, dtype=float)[:, 1],
        flux=light,
        peak=light / 10,
        fwhm_px=each(across) * np.sqrt(long),
        across_px=each(across),
        elongation=long,
        trail_angle_deg=each(angle),
        trail_px=each(trail),
        ellipticity=np.stack([size * np.cos(turned), size * np.sin(turned)], axis=-1),
        is_saturated=np.zeros(count, dtype=bool),
        has_shape=np.ones(count, dtype=bool) if has_shape is None else has_shape,
        width_px=WIDTH,
        height_px=HEIGHT,
        sky_noise=10.0,
    )


def anywhere(count: int, seed: int = 0) -> Array:
    """Places at random, 60 px away from the edge. [px]"""
    rng = np.random.default_rng(seed)
    return np.stack([rng.uniform(60, WIDTH - 60, count), rng.uniform(60, HEIGHT - 60, count)], axis=-1)
