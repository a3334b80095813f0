"""Frames of a target while the mount tracks: counted, and their drift against what the axis foretells."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.errors import PolarcheckError
from polarcheck.frames import Frame, FrameSet
from polarcheck.outlook import check_drift
from polarcheck.watch.places import Place

__all__ = ["TargetLook", "look_at_target"]

_LEAST_S = 120.0  # that frames must span for a rate that means something


@dataclass(frozen=True, slots=True)
class TargetLook:
    """What frames of one field show.

    Attributes
    ----------
    field : Frame
        The first of them.
    frames : int
        How many.
    seen_arcsec_per_min, predicted_arcsec_per_min : tuple of float or None
        Drift east and north; None where not known, or a guider was at work. [arcsec/min]
    is_guided : bool
        Whether the field stood still although the axis would make it drift.
    """

    field: Frame
    frames: int
    seen_arcsec_per_min: tuple[float, float] | None = None
    predicted_arcsec_per_min: tuple[float, float] | None = None
    is_guided: bool = False

    def counting(self, frames: int) -> TargetLook:
        """Return the same with another number of frames."""
        return replace(self, frames=frames)


def look_at_target(place: Place, alignment: Alignment | None) -> TargetLook:
    """Compare a target's frames with the drift that the axis makes.

    Parameters
    ----------
    place : Place
    alignment : Alignment or None
        None: only counted.

    Returns
    -------
    TargetLook
    """
    plain = TargetLook(place.first, place.count)
    if alignment is None:
        return plain
    try:
        check = check_drift(alignment, FrameSet(tuple(place.frames), ()))
    except PolarcheckError:
        return plain
    if check.seconds[-1] < _LEAST_S:
        return plain
    minutes = (check.seconds - check.seconds.mean()) / 60
    seen = minutes @ check.seen_arcsec[:, :2] / (minutes @ minutes)
    drift = check.predicted
    whole = np.stack([drift.east_arcsec, drift.north_arcsec], axis=-1)
    told = minutes @ whole / (minutes @ minutes)
    return replace(
        plain,
        seen_arcsec_per_min=(float(seen[0]), float(seen[1])),
        predicted_arcsec_per_min=(float(told[0]), float(told[1])),
        is_guided=check.is_guided,
    )
