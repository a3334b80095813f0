"""Nights at the knobs as a list of steps, for what learns from them."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment.state import Step
from tests.helpers import ARCSEC

ARCMIN = 60 * ARCSEC
NIGHT = 2461359.0  # JD(UTC) of 2026-11-14 12 h


def night(*places: tuple[float, float, tuple[float, float] | None], sigma_arcmin: float = 0.02) -> list[Step]:
    """Steps of a night: azimuth and altitude of the axis in arcminutes, and what was turned before each."""
    covariance = np.eye(2) * (sigma_arcmin * ARCMIN) ** 2
    return [
        Step((NIGHT, 0.3 + i / 100), az / 60, 47.3 + alt / 60, covariance, turned, is_fresh=i == 0)
        for i, (az, alt, turned) in enumerate(places)
    ]
