"""What the reader of a result from tracked frames must be told: guiding, and a field that turns otherwise than it moves."""

from __future__ import annotations

import numpy as np

from polarcheck.axis import AxisFit
from polarcheck.constants import ARCMIN
from polarcheck.errors import Notice

__all__ = ["GUIDED_ADVICE", "tracked_notices"]

GUIDED_ADVICE = (
    "Guided frames tell of the axis by their rotation only, and that is little: take a sweep, the declination "
    "clamped and guiding off. If no guider was at work here, say so"
)
"""For a refusal of guided frames, without a full stop."""


def tracked_notices(fit: AxisFit) -> list[Notice]:
    """Say what is special about frames that followed one field or several; nothing for a sweep."""
    found = []
    if fit.is_guided:
        found.append(
            Notice(
                "guided",
                "The field stands still while the sky turns: these frames look guided. A guider turns the mount about "
                "both axes, so where the field stands tells nothing; the answer is from its rotation alone. A sweep "
                "without guiding tells more. If no guider was at work, say so.",
                ("frames_guided",),
            )
        )
    elif fit.tracked is not None and fit.tracked.may_be_guided:
        found.append(
            Notice(
                "may-be-guided",
                "The field drifts as slowly as one that a guider holds through a guide scope that bends, and its rotation is "
                "too coarse to tell. If a guider was at work, this answer is worth nothing; say whether one was.",
                ("frames_guided",),
            )
        )
    elif fit.contradiction is not None:
        across, up = fit.contradiction / ARCMIN
        found.append(
            Notice(
                "rotation-contradicts",
                f"Where the field moved and how it turned contradict each other: by its rotation alone the axis would "
                f"lie {abs(across):.1f} arcmin further {'right' if across > 0 else 'left'} (facing the pole) and "
                f"{abs(up):.1f} {'higher' if up > 0 else 'lower'}, {np.hypot(across, up):.1f} on the sky. The answer is "
                "from the movement. A camera that turns or bends, a mount that corrects its declination while it "
                "tracks, or a distorted field does that; a sweep tells more.",
            )
        )
    return found
