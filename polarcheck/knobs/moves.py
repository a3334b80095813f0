"""The move that each knob must make, and the turns that make it.

The azimuth knob turns the mount about the vertical, the altitude knob about a level line, so their moves are
coordinate differences: minus the error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.alignment import AxisError
from polarcheck.constants import ARCMIN
from polarcheck.knobs.advice import Choice
from polarcheck.knobs.play import hand_miss
from polarcheck.knobs.response import Response
from polarcheck.knobs.spec import KnobSpec
from polarcheck.vectors import Array, rotation_matrix, unit

__all__ = ["Move", "knob_moves", "knob_rotation"]

Direction = Literal["east", "west", "up", "down"]
Sense = Literal["clockwise", "counterclockwise"]
Side = Literal["east", "west", "pole", "equator"]

IdleReason = Literal["noise", "hand"]
"""Why a knob is left alone: its move is not clearly larger than its sigma, or a hand would leave no less."""


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
        Whether the knob is better left alone; no backlash is taken up for it.
    why_idle : {"noise", "hand"} or None
        Why: the move is not clearly larger than its sigma, or a turn by hand would leave no less.
    by_hand_turns : float
        One-sigma miss of a hand that makes these turns. [turn]
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
    why_idle: IdleReason | None = None
    by_hand_turns: float = 0.0
    is_opposed: bool = False
    ease_first: Side | None = None
    beyond_travel_arcmin: float | None = None

    @property
    def reach_arcmin(self) -> float:
        """How much of the move a knob makes that stands in the middle of its travel. [arcmin]"""
        return abs(self.move_arcmin) - (self.beyond_travel_arcmin or 0.0)

    @property
    def shift_mm_per_m(self) -> float:
        """How far a tripod's leg goes for the whole move, for each metre of its arm. [mm/m]"""
        return 1000 * float(np.tan(abs(self.move_arcmin) * ARCMIN))


def knob_moves(
    error: AxisError, choice: Choice, response: Response, knobs: tuple[KnobSpec, KnobSpec], north: bool
) -> tuple[Move, Move]:
    """Return the moves that bring the axis to the pole.

    Parameters
    ----------
    error : AxisError
        Axis minus pole.
    choice : Choice
        Which knobs are to be turned, and how far.
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
    azimuth, altitude = (_move(i, error, choice, response, knobs[i], north) for i in range(2))
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


def _move(i: int, error: AxisError, choice: Choice, response: Response, knob: KnobSpec, north: bool) -> Move:
    wanted = -(error.azimuth_arcmin, error.altitude_arcmin)[i]
    towards: tuple[Direction, Direction] = ("up", "down")
    if i == 0:
        towards = ("east", "west") if north else ("west", "east")
    idle = _why_idle(i, choice, response.known[i])
    turns: float | None = None
    sense: Sense | None = None
    take_up = 0.0
    if idle is not None:
        turns = 0.0 if response.known[i] or knob.size else None
    elif response.known[i]:
        turns = abs(choice.best.by_hand[i])
        take_up = turns - abs(choice.best.acting[i])
    elif knob.size:
        turns = abs(wanted) / knob.size + (knob.backlash_turns or 0.0) / 2
    if response.known[i]:
        acting = choice.best.acting[i] or wanted / (float(response.matrix[i, i]) or 1.0)
        sense = "clockwise" if acting >= 0 else "counterclockwise"
    return Move(
        "azimuth" if i == 0 else "altitude",
        wanted,
        (error.azimuth_sigma_arcmin, error.altitude_sigma_arcmin)[i],
        towards[0 if wanted >= 0 else 1],
        turns,
        sense,
        take_up,
        idle is not None,
        idle,
        0.0 if turns is None else hand_miss(turns, knob),
        knob.is_opposed,
        _ease_first(i, sense) if knob.is_opposed else None,
        None if knob.travel_arcmin is None else max(abs(wanted) - knob.travel_arcmin / 2, 0.0),
    )


def _why_idle(i: int, choice: Choice, known: bool) -> IdleReason | None:
    if not choice.is_clear[i]:
        return "noise"
    return None if choice.best.turned[i] or not known else "hand"


def _ease_first(i: int, sense: Sense | None) -> Side | None:
    """Side of the bolt that comes out; the sense is said of the one on the east side or on the pole's side."""
    sides: tuple[Side, Side] = ("east", "west") if i == 0 else ("pole", "equator")
    return None if sense is None else sides[0 if sense == "counterclockwise" else 1]
