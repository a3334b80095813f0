"""Whether another turn is worth it, in numbers."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import AxisError
from polarcheck.moves import Move
from polarcheck.play import KnobSpec, hand_miss
from polarcheck.response import Response

__all__ = ["worth_turning"]

_ONE_SIDED_95 = 1.645  # standard errors; below it lie 95 % of a normal distribution
_PATIENT, _IMPATIENCE = 2, 0.12
_LEAST_WORTH, _WORTH = 0.6, 0.75  # of the smallest move: what is left below may, above must be turned


def worth_turning(
    error: AxisError,
    moves: tuple[Move, Move],
    response: Response,
    knobs: tuple[KnobSpec, KnobSpec],
    cosine: float,
    tolerance_arcmin: float | None,
    corrections: int,
) -> tuple[bool, str]:
    """Compare what is left with what the target allows, its sigma, and what a hand would leave after a turn.

    Parameters
    ----------
    error : AxisError
        Axis minus pole.
    moves : tuple of Move
        Azimuth, altitude.
    response : Response
        How the knobs act.
    knobs : tuple of KnobSpec
        Azimuth, altitude.
    cosine : float
        Of the axis' altitude: what a move about the vertical is on the sky.
    tolerance_arcmin : float or None
        Largest total error that the wanted exposure of a target allows. [arcmin]
    corrections : int
        How often the knobs were turned already.

    Returns
    -------
    worth : bool
        Whether a further turn is likely to bring the axis nearer.
    why : str
        In numbers.
    """
    scale = (cosine, 1.0)
    gains = [(abs(float(response.matrix[i, i])) or knobs[i].size or 0.0) * scale[i] for i in range(2)]
    sigma, left = error.total_sigma_arcmin, error.total_arcmin
    said = f"{left:.2f} arcmin are left, sigma {sigma:.2f}"
    if tolerance_arcmin is not None:
        said += f"; the target's exposure allows {tolerance_arcmin:.2f}"
        margin = tolerance_arcmin - left - _ONE_SIDED_95 * sigma
        if margin >= 0:
            return False, f"{said}, so {margin:.2f} are to spare with 95 % confidence"
    if left <= sigma:
        return False, f"{said}: a turn would follow noise, not the axis; a fresh sweep would tell more"
    if not any(gains):
        return True, f"{said}; the rig file does not say how the knobs act"
    smallest = max(gain * knob.smallest_turn for gain, knob in zip(gains, knobs, strict=True))
    stays = [
        abs(move.move_arcmin) * by if move.is_idle else 0.0 for move, by in zip(moves, scale, strict=True)
    ]
    misses = [gains[i] * _by_hand(moves[i], knobs[i]) for i in range(2)]
    after = float(np.linalg.norm([*stays, *misses]))
    limit = float(np.clip(after, _LEAST_WORTH * smallest, _WORTH * smallest)) * _patience(corrections)
    said = f"{said}; the smallest turn moves {smallest:.2f}, and a hand would leave about {after:.2f}"
    return (True, said) if left > limit else (False, f"{said}, so a further turn gains nothing")


def _patience(corrections: int) -> float:
    """How much more may be left after so many corrections: each further one draws from the same scatter."""
    return 1 + _IMPATIENCE * max(corrections - _PATIENT, 0) ** 2


def _by_hand(move: Move, knob: KnobSpec) -> float:
    """One-sigma miss of a turn by hand; an idle knob is not touched. [turn]"""
    return 0.0 if move.is_idle or move.turns is None else hand_miss(move.turns, knob)
