"""From an axis error to knob moves: which one, which way, how far, and whether it is worth it.

The azimuth knob turns the mount about the vertical, the altitude knob about a level line, so their moves are
coordinate differences: minus the error. How far the axis goes per turn is a 2 x 2 matrix, the response: its
diagonal is the knobs' gain, the rest is cross-talk from a tripod that is not level. The rig file gives the
prior; what was turned and what came of it, night by night, sharpens it (linear regression with a Gaussian
prior).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from polarcheck.alignment import Alignment, AxisError, Step
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.vectors import Array, rotation_matrix, unit, wrap

__all__ = [
    "Correction",
    "KnobSpec",
    "Move",
    "Play",
    "Response",
    "correct",
    "knob_rotation",
    "learn_response",
]

Direction = Literal["east", "west", "up", "down"]
Sense = Literal["clockwise", "counterclockwise"]

_GAIN_SPREAD = 0.15  # one-sigma relative doubt about a stated gain
_UNKNOWN_GAIN = 200.0  # [arcmin/turn] prior spread of a gain that nobody stated
_TILT_SPREAD = 0.03  # one-sigma cross-talk per gain: a base out of level by 1.7 deg
_HAND_SHARE = 0.04  # of a turn, by which a hand misses it; common practice, no source
_HAND_LEAST = 0.005  # turns by which a hand misses even the smallest turn; common practice, no source
_IDLE = 0.5  # of the smallest turn: less is no turn
_ONE_SIDED_95 = 1.645  # standard errors; below it lie 95 % of a normal distribution
_LEAST_WORTH, _WORTH = 0.7, 0.95  # of the smallest move: what is left below may, above must be turned


@dataclass(frozen=True, slots=True)
class KnobSpec:
    """What is known of a knob.

    Attributes
    ----------
    gain : float or None
        Move of the axis per clockwise turn, signed (azimuth growing, altitude rising). [arcmin]
    size : float or None
        The same without its sign, where only that is known. [arcmin]
    backlash_turns : float
        Turns that do nothing after the direction is reversed.
    smallest_turn : float
        What a hand can do.
    """

    gain: float | None = None
    size: float | None = None
    backlash_turns: float = 0.0
    smallest_turn: float = 0.01


@dataclass(frozen=True, slots=True)
class Response:
    """How the knobs move the axis.

    Attributes
    ----------
    matrix : ndarray, shape (2, 2)
        Azimuth (about the vertical) and altitude move, per clockwise turn of the azimuth and the altitude
        knob. [arcmin/turn]
    covariance : ndarray, shape (4, 4)
        Of its entries, row by row. [(arcmin/turn)^2]
    known : tuple of bool
        Whether the gain of each knob is known, its sign included.
    play_turns : tuple of float
        Play ahead of each knob if it is turned clockwise; the rest of its backlash lies the other way. Half
        of the backlash where nobody knows. [turn]
    turns_seen : int
        Corrections that it was learned from.
    """

    matrix: Array
    covariance: Array
    known: tuple[bool, bool]
    play_turns: tuple[float, float]
    turns_seen: int


@dataclass(slots=True)
class Play:
    """Where two knobs stand in their play.

    Attributes
    ----------
    backlash : list of float
        Of each knob. [turn]
    ahead : list of float
        Play ahead if turned clockwise; the rest lies the other way. [turn]
    is_known : list of bool
        Whether the knob was turned far enough since the start to be sure.
    """

    backlash: list[float]
    ahead: list[float]
    is_known: list[bool]

    @classmethod
    def of(cls, knobs: Sequence[KnobSpec]) -> Play:
        """Return the play of knobs whose stand nobody knows: halfway."""
        backlash = [knob.backlash_turns for knob in knobs]
        return cls(backlash, [play / 2 for play in backlash], [play == 0 for play in backlash])

    def take(self, turned: Sequence[float]) -> tuple[Array, Array]:
        """Turn both knobs; return the turns that act on the axis, and their one-sigma doubt.

        Parameters
        ----------
        turned : sequence of float
            Azimuth, altitude; clockwise positive. [turn]

        Returns
        -------
        acting, doubt : ndarray, shape (2,)
            [turn]
        """
        acting, doubt = np.zeros(2), np.zeros(2)
        for i, turns in enumerate(turned):
            loss = min(self.before(i, turns), abs(turns))
            acting[i] = np.copysign(abs(turns) - loss, turns)
            unsure = 0.0 if self.is_known[i] else self.backlash[i] / np.sqrt(12)
            doubt[i] = np.sqrt((_HAND_SHARE * turns) ** 2 + _HAND_LEAST**2 + unsure**2) if turns else 0.0
            self.ahead[i] -= np.copysign(loss, turns)
            self.is_known[i] = self.is_known[i] or abs(turns) >= self.backlash[i]
        return acting, doubt

    def before(self, knob: int, turns: float) -> float:
        """Return the play that a turn of a knob must take up before it acts. [turn]"""
        return self.ahead[knob] if turns >= 0 else self.backlash[knob] - self.ahead[knob]


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
    """

    knob: Literal["azimuth", "altitude"]
    move_arcmin: float
    sigma_arcmin: float
    direction: Direction
    turns: float | None
    sense: Sense | None
    take_up_turns: float = 0.0
    is_idle: bool = False


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
    """

    moves: tuple[Move, ...]
    worth_turning: bool
    why: str
    response: Response


def learn_response(
    steps: Sequence[Step], azimuth: KnobSpec, altitude: KnobSpec, axis_altitude: float
) -> Response:
    """Estimate the knobs' response from what was turned and what came of it.

    Parameters
    ----------
    steps : sequence of Step
        The night so far. A step that is no fresh measurement and says what was turned teaches.
    azimuth, altitude : KnobSpec
        What the rig file says: the prior.
    axis_altitude : float
        Of the axis; a tilt of the base moves the azimuth more the higher the axis stands. [rad]

    Returns
    -------
    Response
    """
    knobs = (azimuth, altitude)
    mean, covariance = _prior(knobs, axis_altitude)
    play, known, seen = Play.of(knobs), [knob.gain is not None for knob in knobs], 0
    for before, after in pairwise(steps):
        if after.is_fresh or after.turned is None:
            play = Play.of(knobs)  # somebody turned, nobody said how far
            continue
        acting, doubt = play.take(after.turned)
        mean, covariance = _update(
            mean, covariance, acting, doubt, _motion(before, after), _motion_noise(after)
        )
        for i in range(2):
            known[i] = known[i] or abs(acting[i]) > 0.02
        seen += 1
    return Response(
        mean.reshape(2, 2), covariance, (known[0], known[1]), (play.ahead[0], play.ahead[1]), seen
    )


def correct(
    alignment: Alignment,
    azimuth: KnobSpec,
    altitude: KnobSpec,
    north: bool,
    tolerance_arcmin: float | None = None,
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

    Returns
    -------
    Correction
    """
    error = alignment.error
    steps = alignment.steps
    tilt = float(np.arcsin(np.clip(alignment.axis[2], -1, 1)))
    response = learn_response(steps, azimuth, altitude, tilt)
    wanted = np.array([-error.azimuth_arcmin, -error.altitude_arcmin])
    turns = _solve(response, wanted)
    moves = [_move(i, wanted[i], error, turns[i], response, (azimuth, altitude)[i], north) for i in range(2)]
    worth, why = _worth(error, moves, response, (azimuth, altitude), float(np.cos(tilt)), tolerance_arcmin)
    return Correction((moves[1], moves[0]), worth, why, response)


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


def _prior(knobs: tuple[KnobSpec, KnobSpec], altitude: float) -> tuple[Array, Array]:
    mean, spread = np.zeros((2, 2)), np.zeros((2, 2))
    sizes = [abs(knob.gain) if knob.gain is not None else (knob.size or _UNKNOWN_GAIN) for knob in knobs]
    for i, knob in enumerate(knobs):
        mean[i, i] = knob.gain or 0.0
        spread[i, i] = _GAIN_SPREAD * sizes[i] if knob.gain is not None else 1.2 * sizes[i]
    cosine = max(float(np.cos(altitude)), 0.1)
    spread[1, 0] = _TILT_SPREAD * sizes[0] * cosine
    spread[0, 1] = _TILT_SPREAD * sizes[1] / cosine
    return mean.reshape(4), np.diag(spread.reshape(4) ** 2)


def _motion(before: Step, after: Step) -> Array:
    azimuth = float(wrap((after.azimuth_deg - before.azimuth_deg) * DEGREE)) / ARCMIN
    return np.array([azimuth, (after.altitude_deg - before.altitude_deg) * 60])


def _motion_noise(after: Step) -> Array:
    """Covariance of a motion; the axis in the camera is the same before and after and drops out."""
    scale = np.array([1 / max(np.cos(after.altitude_deg * DEGREE), 0.05), 1.0])
    return np.asarray(2 * after.covariance / ARCMIN**2 * np.outer(scale, scale))


def _update(
    mean: Array, covariance: Array, acting: Array, doubt: Array, motion: Array, noise: Array
) -> tuple[Array, Array]:
    design = np.kron(np.eye(2), acting[None, :])  # (2, 4)
    matrix = mean.reshape(2, 2)
    spread = np.abs(matrix) + np.sqrt(np.diag(covariance)).reshape(2, 2) * 0.2
    total = noise + spread @ np.diag(doubt**2) @ spread.T + 1e-6 * np.eye(2)
    gain = covariance @ design.T @ np.linalg.inv(design @ covariance @ design.T + total)
    return mean + gain @ (motion - design @ mean), covariance - gain @ design @ covariance


def _solve(response: Response, wanted: Array) -> tuple[float | None, float | None]:
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
    take_up = 0.0
    turns = None
    if turn is not None:
        sign = 1 if turn >= 0 else -1
        sense = "clockwise" if sign > 0 else "counterclockwise"
        ahead = response.play_turns[i]
        if abs(turn) >= _IDLE * knob.smallest_turn:
            take_up = ahead if sign > 0 else knob.backlash_turns - ahead
        turns = abs(turn) + take_up
    elif knob.size:
        turns = abs(wanted) / knob.size + knob.backlash_turns / 2
    idle = turn is not None and abs(turn) < _IDLE * knob.smallest_turn
    return Move("azimuth" if i == 0 else "altitude", wanted, sigma, direction, turns, sense, take_up, idle)


def _worth(
    error: AxisError,
    moves: Sequence[Move],
    response: Response,
    knobs: tuple[KnobSpec, KnobSpec],
    cosine: float,
    tolerance_arcmin: float | None,
) -> tuple[bool, str]:
    """Compare what is left with what the target allows, its sigma, and what a hand would leave after a turn."""
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
    misses = [gains[i] * _by_hand(moves[i], knobs[i]) for i in range(2)]
    after = float(np.hypot(misses[0], misses[1]))
    limit = min(max(after, _LEAST_WORTH * smallest), _WORTH * smallest)
    said = f"{said}; the smallest turn moves {smallest:.2f}, and a hand would leave about {after:.2f}"
    return (True, said) if left > limit else (False, f"{said}, so a further turn gains nothing")


def _by_hand(move: Move, knob: KnobSpec) -> float:
    """One-sigma miss of a turn by hand; an idle knob is not touched. [turn]"""
    if move.is_idle or move.turns is None:
        return 0.0
    return float(np.hypot(_HAND_SHARE * move.turns, knob.smallest_turn / 2))
