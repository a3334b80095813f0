"""The move of the axis that turns of the knobs should make."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.knobs.response import learn_response
from polarcheck.knobs.spec import knob_specs, stated_shift
from polarcheck.rig import Rig

__all__ = ["expected_move"]


def expected_move(
    before: Alignment, rig: Rig | None, turned: tuple[float, float] | None, loose: bool = False
) -> tuple[float, float] | None:
    """Return the axis move that turns should make, as the rig file and the night so far have it.

    Parameters
    ----------
    before : Alignment
        The result before the turns.
    rig : Rig or None
        The rig file.
    turned : tuple of float or None
        Turns of the azimuth and altitude knob, clockwise positive.
    loose : bool
        Whether the clamps are loose afterwards; a stated shift by tightening is in the move then.

    Returns
    -------
    tuple of float or None
        Azimuth (about the vertical) and altitude; None where a knob that was turned is not known. [arcmin]
    """
    if turned is None:
        return None
    specs = knob_specs(rig, before.site.is_north)
    height = float(np.arcsin(np.clip(before.axis[2], -1, 1)))
    response = learn_response(before.steps, *specs, height)
    if any(turns and not known for turns, known in zip(turned, response.known, strict=True)):
        return None
    shift = np.array(stated_shift(rig) or (0.0, 0.0)) * (before.is_loose - loose)
    azimuth, altitude = response.move_by(turned) + shift
    return float(azimuth), float(altitude)
