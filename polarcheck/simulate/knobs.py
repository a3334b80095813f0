"""A mount that only a hand can move: two knobs with gains and play of their own, on a base that leans.

What the rig file says of the knobs is what their maker says; what they do is drawn, and kept hidden.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.vectors import Array, rotation_matrix

__all__ = ["KnobMount", "by_hand", "drawn_mount"]

_GAIN_OFF = 0.25  # largest share by which a knob's gain is off what the rig file says
_TILT_DEG = 2.0  # by which the base leans at most
_HAND_SHARE, _HAND_LEAST = 0.04, 1 / 200  # of the turn, and turns: one sigma of what a hand misses
_ARCMIN_PER_TURN, _BACKLASH = 50.0, 1 / 8  # where the rig file says nothing
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True)
class KnobMount:
    """A mount with its knobs.

    Attributes
    ----------
    axis : ndarray, shape (3,)
        East-North-Up, towards the visible pole.
    north : bool
        Whether that is the north celestial one.
    base : ndarray, shape (3, 3)
        How the base leans: carries level East-North-Up directions to its own.
    gains : ndarray, shape (2,)
        Move for a clockwise turn of the azimuth (growing azimuth) and the altitude knob (up). [arcmin]
    backlash : ndarray, shape (2,)
        Turns that do nothing after a reversal.
    play : ndarray, shape (2,)
        Where each knob stands in its play, from -backlash / 2, where a counterclockwise turn acts at once, to
        backlash / 2, where a clockwise one does.
    swing : float
        How far the azimuth knob has turned the mount about the base's vertical. [rad]
    """

    axis: Array
    north: bool
    base: Array
    gains: Array
    backlash: Array
    play: Array
    swing: float = 0.0

    def turned(self, knob: int, turns: float) -> tuple[KnobMount, Array]:
        """Turn a knob, clockwise positive.

        Parameters
        ----------
        knob : int
            0 for azimuth, 1 for altitude.
        turns : float
            [turn]

        Returns
        -------
        mount : KnobMount
            Afterwards.
        rotation : ndarray, shape (3, 3)
            Of the whole mount, camera included.
        """
        reach = float(self.backlash[knob]) / 2
        end = float(self.play[knob]) + turns
        acting = max(end - reach, 0.0) if turns > 0 else min(end + reach, 0.0)
        angle = acting * float(self.gains[knob]) * ARCMIN
        play = self.play.copy()
        play[knob] = np.clip(end, -reach, reach)
        swing = self.swing
        if knob == 0:
            swing += angle
            moved = rotation_matrix(self.base @ _UP, -angle)
        else:
            azimuth = (0.0 if self.north else np.pi) + self.swing
            level = self.base @ rotation_matrix(_UP, -azimuth) @ np.array([1.0, 0.0, 0.0])
            moved = rotation_matrix(level, angle)
        return replace(self, axis=moved @ self.axis, play=play, swing=swing), moved

    def to_dict(self) -> dict[str, Any]:
        """Return it ready for JSON; `KnobMount.from_dict` reads it back."""
        return {
            "axis": self.axis.tolist(),
            "north": self.north,
            "base": self.base.tolist(),
            "arcmin_per_turn": self.gains.tolist(),
            "backlash_turns": self.backlash.tolist(),
            "play_turns": self.play.tolist(),
            "swing_deg": self.swing / DEGREE,
        }

    @classmethod
    def from_dict(cls, kept: dict[str, Any]) -> KnobMount:
        """Return the mount that `to_dict` wrote.

        Raises
        ------
        KeyError, TypeError, ValueError
            It is none.
        """
        read = {name: np.array(kept[name], dtype=float) for name in _SHAPES}
        if any(value.shape != _SHAPES[name] or not np.isfinite(value).all() for name, value in read.items()):
            raise ValueError("is no mount")
        return cls(
            read["axis"],
            bool(kept["north"]),
            read["base"],
            read["arcmin_per_turn"],
            read["backlash_turns"],
            read["play_turns"],
            float(kept["swing_deg"]) * DEGREE,
        )


_SHAPES: dict[str, tuple[int, ...]] = {
    "axis": (3,),
    "base": (3, 3),
    "arcmin_per_turn": (2,),
    "backlash_turns": (2,),
    "play_turns": (2,),
}


def drawn_mount(
    axis: Array,
    north: bool,
    rng: np.random.Generator,
    stated: tuple[float | None, float | None] = (None, None),
    backlash: tuple[float | None, float | None] = (None, None),
) -> KnobMount:
    """Draw a mount: gains up to 25 % off what is stated, a base up to 2 deg out of level, knobs anywhere in their play.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        Where its axis points.
    north : bool
        Whether that is towards the north celestial pole.
    rng : numpy.random.Generator
    stated : tuple of float or None
        What the rig file says of a clockwise turn of the azimuth and the altitude knob, signed; by default 50 of
        either sign. [arcmin]
    backlash : tuple of float or None
        What it says of their backlash; by default 1/8. [turn]

    Returns
    -------
    KnobMount
    """
    signs = rng.choice([-1.0, 1.0], 2)
    said = np.array([signs[i] * _ARCMIN_PER_TURN if stated[i] is None else stated[i] for i in range(2)])
    gains = said * (1 + rng.uniform(-_GAIN_OFF, _GAIN_OFF, 2))
    tilt, towards = rng.uniform(0, _TILT_DEG) * DEGREE, rng.uniform(0, 2 * np.pi)
    base = rotation_matrix(np.array([np.cos(towards), np.sin(towards), 0.0]), tilt)
    wide = np.array([_BACKLASH if turns is None else turns for turns in backlash])
    return KnobMount(axis, north, base, gains, wide, rng.uniform(-0.5, 0.5, 2) * wide)


def by_hand(turns: float, rng: np.random.Generator) -> float:
    """Return what a hand makes of a turn: 4 % of it and 1/200 turn off, one sigma; 0 is no turn."""
    if not turns:
        return 0.0
    return float(turns * (1 + _HAND_SHARE * rng.normal()) + _HAND_LEAST * rng.normal())
