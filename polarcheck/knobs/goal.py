"""Whether another turn is worth it, in numbers."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import AxisError
from polarcheck.knobs.moves import Move
from polarcheck.knobs.play import hand_miss
from polarcheck.knobs.response import Response
from polarcheck.knobs.spec import KnobSpec

__all__ = ["worth_turning"]

_ONE_SIDED_95 = 1.645  # standard errors; below it lie 95 % of a normal distribution
_LEAST, _MOST = 0.7, 0.8  # of the smallest move: what is left below may stay, above must be turned
_PATIENCE = (1.0, 1.0, 1.0, 1.0, 1.1, 1.3, 3.0)
"""By what the limit grows with the corrections made: each further turn draws from the same scatter of a hand."""


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
    sigma, left = error.total_sigma_arcmin, error.total_arcmin
    said = f"{left:.2f} arcmin are left, sigma {sigma:.2f}"
    if tolerance_arcmin is not None:
        margin = tolerance_arcmin - left - _ONE_SIDED_95 * sigma
        said += f"; the target's exposure allows {tolerance_arcmin:.2f}"
        if margin >= 0:
            return False, f"{said}, so {margin:.2f} are to spare with 95 % confidence"
        said += f", {-margin:.2f} short with 95 % confidence"
    if left <= sigma:
        return False, f"{said}: a turn would follow noise, not the axis; a fresh sweep would tell more"
    if beyond := [move.knob for move in moves if move.beyond_travel_arcmin]:
        return True, f"{said}; the {' and the '.join(beyond)} knob may not reach: the tripod must be moved"
    scale = (cosine, 1.0)
    gains = [(abs(float(response.matrix[i, i])) or knobs[i].size or 0.0) * scale[i] for i in range(2)]
    if not any(gains):
        return True, f"{said}; the rig file does not say how the knobs act"
    smallest = max(gain * knob.smallest_turn for gain, knob in zip(gains, knobs, strict=True))
    after = _left_by_hand(moves, knobs, gains, scale)
    limit = float(np.clip(after, _LEAST * smallest, _MOST * smallest))
    limit *= _PATIENCE[min(corrections, len(_PATIENCE) - 1)]
    said += (
        f"; the smallest turn moves {smallest:.2f}, a hand would leave about {after:.2f}, and after {corrections} "
        f"correction{'' if corrections == 1 else 's'} more than {limit:.2f} is worth a turn"
    )
    return left > limit, said


def _left_by_hand(
    moves: tuple[Move, Move],
    knobs: tuple[KnobSpec, KnobSpec],
    gains: list[float],
    scale: tuple[float, float],
) -> float:
    """Root mean square of what a turn of both knobs would leave. [arcmin]"""
    stays = [abs(moves[i].move_arcmin) * scale[i] if moves[i].is_idle else 0.0 for i in range(2)]
    misses = [gains[i] * _by_hand(moves[i], knobs[i]) for i in range(2)]
    return float(np.linalg.norm([*stays, *misses]))


def _by_hand(move: Move, knob: KnobSpec) -> float:
    """One-sigma miss of a turn by hand; an idle knob is not touched. [turn]"""
    return 0.0 if move.is_idle or move.turns is None else hand_miss(move.turns, knob)
