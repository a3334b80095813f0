"""From an axis error to knob moves: which one, which way, how far, and whether it is worth it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polarcheck.alignment import Alignment, Step
from polarcheck.knobs.clamps import tightened
from polarcheck.knobs.goal import worth_turning
from polarcheck.knobs.moves import Move, knob_moves
from polarcheck.knobs.response import Response, learn_response
from polarcheck.knobs.spec import KnobSpec

__all__ = ["Correction", "correct"]


@dataclass(frozen=True, slots=True)
class Correction:
    """The moves, in the order in which to make them.

    Attributes
    ----------
    moves : tuple of Move
        Altitude first: its knob lifts the load, and the azimuth bolts hold meanwhile.
    worth_turning : bool
        Whether a further turn is likely to bring the axis nearer.
    why : str
        In numbers.
    response : Response
        What the turns were computed with.
    clamp_shift_arcmin : tuple of float or None
        Shift by tightening that the moves allow for; None where none had to be, or none is known. [arcmin]
    """

    moves: tuple[Move, ...]
    worth_turning: bool
    why: str
    response: Response
    clamp_shift_arcmin: tuple[float, float] | None = None


def correct(
    alignment: Alignment,
    azimuth: KnobSpec,
    altitude: KnobSpec,
    north: bool,
    tolerance_arcmin: float | None = None,
    clamp_shift_arcmin: tuple[float, float] | None = None,
) -> Correction:
    """Compute the knob moves that bring the axis to the pole.

    Parameters
    ----------
    alignment : Alignment
        How the mount stands; its steps teach the knobs' response.
    azimuth, altitude : KnobSpec
        What the rig file says of the knobs.
    north : bool
        Whether the pole is the north celestial one: there growing azimuth is towards east.
    tolerance_arcmin : float, optional
        Largest total error that the wanted exposure of a target allows. [arcmin]
    clamp_shift_arcmin : tuple of float, optional
        By what tightening shifts the axis, azimuth about the vertical and altitude; counts for what was seen with
        the clamps loose. [arcmin]

    Returns
    -------
    Correction
    """
    allowed = clamp_shift_arcmin if alignment.is_loose else None
    if clamp_shift_arcmin is not None:
        alignment = tightened(alignment, clamp_shift_arcmin)
    error, knobs = alignment.error, (azimuth, altitude)
    tilt = float(np.arcsin(np.clip(alignment.axis[2], -1, 1)))
    response = learn_response(alignment.steps, azimuth, altitude, tilt)
    moves = knob_moves(error, response, knobs, north)
    corrections = _corrections(alignment.steps)
    worth, why = worth_turning(
        error, moves, response, knobs, float(np.cos(tilt)), tolerance_arcmin, corrections
    )
    return Correction((moves[1], moves[0]), worth, why, response, allowed)


def _corrections(steps: Sequence[Step]) -> int:
    """How often the knobs were turned since the last measurement of its own."""
    fresh = max((i for i, step in enumerate(steps) if step.is_fresh), default=-1)
    return sum(step.turned != (0.0, 0.0) for step in steps[fresh + 1 :])
