"""The longest exposure for each of a list of targets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.constants import DEGREE
from polarcheck.errors import InputError
from polarcheck.outlook.drift import Rate
from polarcheck.outlook.exposure import Exposure, exposure_limit, required_error
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.scene import set_scene
from polarcheck.sky import Target

__all__ = ["TargetExposure", "exposures_of"]


@dataclass(frozen=True, slots=True)
class TargetExposure:
    """One target's answer.

    Attributes
    ----------
    target : Target
    exposure : Exposure or None
        None where it cannot be exposed.
    altitude_deg : float or None
        Observed, at the start. [deg]
    required_arcmin : float or None
        How near the pole the axis must be for the wanted exposure, where one is wanted. [arcmin]
    reason : str or None
        Why there is no exposure.
    """

    target: Target
    exposure: Exposure | None
    altitude_deg: float | None
    required_arcmin: float | None
    reason: str | None


def exposures_of(
    targets: Sequence[Target],
    alignment: Alignment,
    utc: tuple[float, float],
    optics: Optics,
    tolerance_arcsec: float,
    *,
    guided: bool,
    rate: Rate = "sidereal",
    want_s: float | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[TargetExposure, ...]:
    """Find the longest exposure of each target; one that cannot be exposed keeps its reason.

    Parameters
    ----------
    targets : sequence of Target
    alignment : Alignment
    utc : tuple of float
        Start, two-part Julian date.
    optics : Optics
    tolerance_arcsec : float
    guided : bool
    rate : {"sidereal", "king", "solar", "lunar"}
    want_s : float, optional
        An exposure that is wanted. [s]
    progress : callable, optional
        Called with the number of targets done and of all targets.

    Returns
    -------
    tuple of TargetExposure
        In the order of the targets.
    """

    def row(target: Target) -> TargetExposure:
        site, air, pole = alignment.site, alignment.sky.air, alignment.pole
        try:
            scene = set_scene(site, air, pole, target.place, utc, optics, guided=guided, rate=rate)
            exposure = exposure_limit(scene, alignment.axis, pole, tolerance_arcsec, alignment.covariance)
            needed = None if want_s is None else required_error(scene, pole, tolerance_arcsec, want_s)
        except InputError as error:
            return TargetExposure(target, None, None, None, str(error))
        altitude = float(np.arcsin(scene.stars(np.zeros(1))[0, 0, 2]) / DEGREE)
        return TargetExposure(target, exposure, altitude, needed, None)

    rows = []
    for done, target in enumerate(targets, 1):
        rows.append(row(target))
        if progress is not None:
            progress(done, len(targets))
    return tuple(rows)
