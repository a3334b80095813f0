"""What sag and creep may have done to a measured axis, beside the noise that its covariance holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.constants import ARCMIN, ARCSEC
from polarcheck.vectors import Array, azalt_from_direction, tangent_basis

__all__ = ["FLEXURE_ARCSEC", "Systematic"]

FLEXURE_ARCSEC = 5.0
"""Sag and creep that are allowed for where the rig file does not say. [arcsec]"""

_LONG_SWEEP = 1.35  # of the allowance, in each direction: what a sweep of 70 to 90 deg gets


@dataclass(frozen=True, slots=True)
class Systematic:
    """An allowance for sag and creep, and what it does to the axis.

    Attributes
    ----------
    allowance_arcsec : float
        How far the camera may turn against the mount: by sag where the tube lies level, by creep from the first
        frame to the last. [arcsec]
    source : {"rig file", "assumed"}
        Where the allowance comes from.
    region : ndarray, shape (2, 2)
        Along a unit vector `u` of the tangent plane (azimuth times cos altitude, altitude) the axis may be off by
        the root of ``u @ region @ u``: a bound for flexure of that size, no standard error. [rad^2]
    """

    allowance_arcsec: float
    source: Literal["rig file", "assumed"]
    region: Array

    @classmethod
    def of_older_result(cls) -> Systematic:
        """Return what stands for the allowance of a result that was kept without one."""
        return cls(FLEXURE_ARCSEC, "assumed", (_LONG_SWEEP * FLEXURE_ARCSEC * ARCSEC) ** 2 * np.eye(2))

    def half_widths_arcmin(self, axis: Array) -> tuple[float, float]:
        """Return how far azimuth (about the vertical) and altitude may be off. [arcmin]

        Parameters
        ----------
        axis : ndarray, shape (3,)
            East-North-Up.
        """
        across, up = np.sqrt(np.maximum(np.diag(self.region), 0.0)) / ARCMIN
        _, altitude = azalt_from_direction(axis)
        return float(across / max(float(np.cos(altitude)), 1e-12)), float(up)

    def along_arcmin(self, axis: Array, towards: Array) -> float:
        """Return how far the axis may be off along the line to another direction. [arcmin]

        Parameters
        ----------
        axis, towards : ndarray, shape (3,)
            East-North-Up.
        """
        line = tangent_basis(axis).T @ towards
        length = float(np.linalg.norm(line))
        if length < 1e-12:
            return float(np.sqrt(np.linalg.eigvalsh(self.region)[-1])) / ARCMIN
        return float(np.sqrt(np.abs(line @ self.region @ line))) / length / ARCMIN
