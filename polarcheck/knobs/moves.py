"""The move that each knob must make, and the turns that make it.

The azimuth knob turns the mount about the vertical, the altitude knob about a level line, so their moves are
coordinate differences: minus the error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.alignment import AxisError
from polarcheck.knobs.play import hand_miss
from polarcheck.knobs.response import Response
from polarcheck.knobs.spec import KnobSpec
from polarcheck.vectors import Array, rotation_matrix, unit

__all__ = ["Move", "knob_moves", "knob_rotation"]

Direction = Literal["east", "west", "up", "down"]
Sense = Literal["clockwise", "counterclockwise"]
Side = Literal["east", "west", "pole", "equator"]

_IDLE = 0.5  # of the smallest turn: less is no turn
_IDLE_MISS = 0.7  # of what a hand misses: a turn for less makes it worse


@dataclass(frozen=True, slots=True)
class Move:
    """What one knob should do.

    Attributes
    ----------
    knob : {"azimuth", "altitude"}
    move_arcmin : float
        Change of the axis that it must make: minus the error. [arcmin]
    sigma_arcmin : float
        Of that. [arcmin]
    direction : {"east", "west", "up", "down"}
        Where the visible-pole end goes.
    turns : float or None
        How far to turn, positive, take-up of backlash included; None where the knob is not known.
    sense : {"clockwise", "counterclockwise"} or None
        As seen by someone who faces the knob; None where it is not known.
    take_up_turns : float
        Part of `turns` that only takes up backlash.
    is_idle : bool
        Whether the move is so small that the knob is better left alone; no backlash is taken up for it.
    is_opposed : bool
        Whether two bolts share the move: one comes out, the other goes in by as much.
    ease_first : {"east", "west", "pole", "equator"} or None
        The side whose bolt comes out, which it does first; None for one screw, or where the sense is not known.
    beyond_travel_arcmin : float or None
        What the knob lacks for the move if it stands in the middle of its travel; 0 if it reaches, None where the
        travel is not stated. [arcmin]
    """

    knob: Literal["azimuth", "altitude"]
    move_arcmin: float
    sigma_arcmin: float
    direction: Direction
    turns: float | None
    sense: Sense | None
    take_up_turns: float = 0.0
    is_idle: bool = False
    is_opposed: bool = False
    ease_first: Side | None = None
    beyond_travel_arcmin: float | None = None


def knob_moves(
    error: AxisError, response: Response, knobs: tuple[KnobSpec, KnobSpec], north: bool
) -> tuple[Move, Move]:
    """Return the moves that bring the axis to the pole.

    Parameters
    ----------
    error : AxisError
        Axis minus pole.
    response : Response
        How the knobs act.
    knobs : tuple of KnobSpec
        Azimuth, altitude.
    north : bool
        Whether the pole is the north celestial one: there growing azimuth is towards east.

    Returns
    -------
    tuple of Move
        Azimuth, altitude.
    """
    wanted = np.array([-error.azimuth_arcmin, -error.altitude_arcmin])
    turns = _turns(response, wanted)
    azimuth, altitude = (
        _move(i, float(wanted[i]), error, turns[i], response, knobs[i], north) for i in range(2)
    )
    return azimuth, altitude


def knob_rotation(axis: Array, swing: float, tilt: float) -> Array:
    """Return what knob moves do to a level mount, shape (3, 3): the altitude knob first, then azimuth.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        Before the moves, East-North-Up.
    swing : float
        Azimuth move about the vertical, clockwise from above positive. [rad]
    tilt : float
        Altitude move about the level line across the axis' azimuth. [rad]

    Returns
    -------
    ndarray, shape (3, 3)
        Carries East-North-Up directions fixed in the mount to where they are afterwards.
    """
    level = unit(np.cross(axis, [0.0, 0.0, 1.0]))
    return rotation_matrix(np.array([0.0, 0.0, 1.0]), -swing) @ rotation_matrix(level, tilt)


def _turns(response: Response, wanted: Array) -> tuple[float | None, float | None]:
    """Signed acting turns for each knob; None for a knob whose gain is not known."""
    if all(response.known) and abs(np.linalg.det(response.matrix)) > 1e-9:
        azimuth, altitude = np.linalg.solve(response.matrix, wanted)
        return float(azimuth), float(altitude)
    single = [
        float(wanted[i] / response.matrix[i, i]) if response.known[i] and response.matrix[i, i] else None
        for i in range(2)
    ]
    return single[0], single[1]


def _move(
    i: int,
    wanted: float,
    error: AxisError,
    turn: float | None,
    response: Response,
    knob: KnobSpec,
    north: bool,
) -> Move:
    sigma = (error.azimuth_sigma_arcmin, error.altitude_sigma_arcmin)[i]
    if i == 0:
        direction: Direction = "east" if (wanted >= 0) == north else "west"
    else:
        direction = "up" if wanted >= 0 else "down"
    sense: Sense | None = None
    take_up, idle = 0.0, False
    turns = None
    if turn is not None:
        sign = 1 if turn >= 0 else -1
        sense = "clockwise" if sign > 0 else "counterclockwise"
        take_up = response.plays[i].take_up_turns(clockwise=sign > 0)
        idle = abs(turn) < max(_IDLE * knob.smallest_turn, _IDLE_MISS * hand_miss(abs(turn) + take_up, knob))
        take_up = 0.0 if idle else take_up
        turns = 0.0 if idle else abs(turn) + take_up
    elif knob.size:
        turns = abs(wanted) / knob.size + (knob.backlash_turns or 0.0) / 2
    return Move(
        "azimuth" if i == 0 else "altitude",
        wanted,
        sigma,
        direction,
        turns,
        sense,
        take_up,
        idle,
        knob.is_opposed,
        _ease_first(i, sense) if knob.is_opposed else None,
        None if knob.travel_arcmin is None else max(abs(wanted) - knob.travel_arcmin / 2, 0.0),
    )


def _ease_first(i: int, sense: Sense | None) -> Side | None:
    """Side of the bolt that comes out; the sense is said of the one on the east side or on the pole's side."""
    sides: tuple[Side, Side] = ("east", "west") if i == 0 else ("pole", "equator")
    return None if sense is None else sides[0 if sense == "counterclockwise" else 1]
