"""The turns that the advice told, and the move of the axis that turns should make."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.errors import InputError
from polarcheck.knobs.correction import correct
from polarcheck.knobs.response import learn_response
from polarcheck.knobs.spec import knob_specs, stated_shift
from polarcheck.rig import Rig

__all__ = ["expected_move", "told_turns"]


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


def told_turns(before: Alignment, rig: Rig | None) -> tuple[float, float]:
    """Return the turns that `correct` tells for a result: what was turned by somebody who obeyed.

    Parameters
    ----------
    before : Alignment
        The result.
    rig : Rig or None
        The rig file that the advice was had with.

    Returns
    -------
    tuple of float
        Of the azimuth and the altitude knob, clockwise positive; 0 where a knob was to be left alone. [turn]

    Raises
    ------
    InputError
        The advice names no turns, because nothing says how a knob acts.
    """
    correction = correct(before, rig)
    if not correction.worth_turning:
        return 0.0, 0.0
    told = {move.knob: move for move in correction.moves}
    turned = []
    for knob in (told["azimuth"], told["altitude"]):
        if knob.turns is None or (knob.turns and knob.sense is None):
            raise InputError(
                f"the advice named no turns of the {knob.knob} knob, for nothing says how it acts; give "
                "the turns themselves"
            )
        turned.append(knob.turns if knob.sense == "clockwise" else -knob.turns)
    return turned[0], turned[1]
