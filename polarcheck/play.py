"""A knob as the rig file has it, a hand that turns it, and where it stands in its play."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polarcheck.vectors import Array

__all__ = ["KnobSpec", "Play", "hand_miss"]

_HAND_SHARE = 0.04  # of a turn, by which a hand misses it; common practice, no source
_HAND_LEAST = 0.005  # turns by which a hand misses even the smallest turn; common practice, no source


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


def hand_miss(turns: float, knob: KnobSpec) -> float:
    """Return the one-sigma miss of a turn by hand.

    Parameters
    ----------
    turns : float
        How far it should go, positive. [turn]
    knob : KnobSpec
        Whose smallest turn counts.

    Returns
    -------
    float
        [turn]
    """
    return float(np.hypot(_HAND_SHARE * turns, knob.smallest_turn / 2))
