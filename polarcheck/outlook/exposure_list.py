"""One line of a list of targets with their longest exposures."""

from __future__ import annotations

from dataclasses import dataclass

from polarcheck.outlook.exposure import Exposure
from polarcheck.sky import Target

__all__ = ["TargetExposure"]


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
