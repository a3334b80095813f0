"""What the aim at a target gains, as warnings and in words."""

from __future__ import annotations

from polarcheck.errors import Notice
from polarcheck.outlook import TargetAim

__all__ = ["aim_notices"]


def aim_notices(aim: TargetAim) -> tuple[Notice, ...]:
    """Say where the aim lies and what it gains; and that it is no clear optimum, where that is so."""
    gain = (
        f"The aim for the target lies {aim.offset_arcmin:.2f} arcmin from the refracted pole. With the axis there the "
        f"target drifts by {aim.drift_arcsec:.2f} arcsec at most over that time, with the axis on the refracted pole by "
        f"{aim.drift_at_refracted_pole_arcsec:.2f}."
    )
    notices = [Notice("target-aim", gain)]
    if aim.is_at_edge:
        edge = (
            "That aim lies at the edge of the 5 arcmin that are searched around the refracted pole: this target has no "
            "clear optimum (low declinations have none), and the gain there costs other targets."
        )
        notices.append(Notice("aim-at-edge", edge))
    return tuple(notices)
