"""What a rig file says about where the mount can point: horizon and limits."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from polarcheck.axis import LOWEST, Horizon, MountLimits, Reach
from polarcheck.constants import DEGREE

__all__ = ["LimitsTable", "horizon_of", "require_horizon", "rig_reach"]

_MOST_POINTS = 720
_Angle = Annotated[float, Field(ge=-180, le=180, allow_inf_nan=False)]


class LimitsTable(BaseModel):
    """How far the mount can turn and the tube can point. [deg]"""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    lowest_deg: Annotated[float, Field(ge=0, le=80, allow_inf_nan=False)] | None = None
    highest_deg: Annotated[float, Field(ge=10, le=90, allow_inf_nan=False)] | None = None
    past_meridian_deg: Annotated[float, Field(ge=0, le=90, allow_inf_nan=False)] | None = None
    axis_angle_deg: Annotated[list[_Angle], Field(min_length=2, max_length=2)] | None = None
    arc_deg: Annotated[float, Field(ge=5, le=360, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _ordered(self) -> LimitsTable:
        angles = self.axis_angle_deg
        if angles and not angles[0] + 5 <= angles[1]:
            raise ValueError(
                f"axis_angle_deg = {angles} must be the least and the greatest, 5 or more apart: [-90, 90]"
            )
        if self.highest_deg is not None and self.highest_deg <= (self.lowest_deg or LOWEST / DEGREE):
            raise ValueError(
                f"highest_deg = {self.highest_deg:g} must lie above lowest_deg (15 unless stated)"
            )
        return self


def require_horizon(profile: Sequence[Sequence[float]]) -> None:
    """Refuse a horizon that none is.

    Raises
    ------
    ValueError
        With what is wrong.
    """
    example = "write [[0, 25], [90, 12], [180, 5]]: azimuth, altitude"
    if not 1 <= len(profile) <= _MOST_POINTS or any(len(point) != 2 for point in profile):
        raise ValueError(f"horizon = {len(profile)} points: must be 1 to {_MOST_POINTS} pairs; {example}")
    for azimuth, altitude in profile:
        if not (0 <= azimuth <= 360 and -5 <= altitude <= 90):
            raise ValueError(
                f"horizon = [{azimuth:g}, {altitude:g}]: azimuth must be within 0 to 360 and altitude -5 to 90; {example}"
            )
    azimuths = [point[0] for point in profile]
    if any(after < before for before, after in pairwise(azimuths)):
        raise ValueError(
            f"horizon = azimuth {azimuths}: must grow from 0 to 360 (a step is two points alike)"[:200]
        )


def horizon_of(profile: Sequence[Sequence[float]] | None) -> Horizon | None:
    """Return the horizon of a profile of azimuths and altitudes [deg]; two points of one azimuth make a step."""
    if not profile:
        return None
    points = np.array(profile, dtype=float)
    azimuths = points[:, 0].copy()
    for i in range(1, len(azimuths)):
        azimuths[i] = max(azimuths[i], azimuths[i - 1] + 1e-6)
    return Horizon(azimuths * DEGREE, points[:, 1] * DEGREE)


def rig_reach(limits: LimitsTable, profile: Sequence[Sequence[float]] | None, *, changes_side: bool) -> Reach:
    """Return where a mount can point.

    Parameters
    ----------
    limits : LimitsTable
    profile : sequence of [azimuth, altitude], optional
        The horizon. [deg]
    changes_side : bool
        Whether it is a German mount (or of unknown kind), on which the meridian parts the sky.
    """
    least, greatest = limits.axis_angle_deg or (-180.0, 180.0)
    if limits.past_meridian_deg is not None:
        past: float | None = limits.past_meridian_deg * DEGREE
    else:
        past = None if changes_side else float(np.pi)
    lowest = LOWEST if limits.lowest_deg is None else limits.lowest_deg * DEGREE
    highest = np.pi / 2 if limits.highest_deg is None else limits.highest_deg * DEGREE
    arc = np.pi if limits.arc_deg is None else limits.arc_deg * DEGREE
    turns = MountLimits(past, (least * DEGREE, greatest * DEGREE), arc)
    return Reach(lowest, float(highest), horizon_of(profile), None, turns)
