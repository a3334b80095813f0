"""Where a knob may stand in its play, and a hand that turns it.

A knob with backlash moves the axis only while it pushes; after a reversal it first crosses its play. How wide that
is and where in it the knob stands is known in part only, so it is carried as weighted hypotheses: each has a
backlash and a place in it, and every measured step weighs them anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.knobs.spec import KnobSpec
from polarcheck.vectors import Array

__all__ = ["Play", "hand_miss"]

_HAND_SHARE = 0.04  # of a turn, by which a hand misses it; common practice, no source

_STATED_SPREAD, _STATED_LEAST = 0.1, 0.005  # doubt about a stated backlash: share, and turns at least
_UNSTATED_NONE = 0.4  # chance that a knob of which nobody states any backlash has none
_UNSTATED_SCALE, _UNSTATED_MOST = 0.15, 0.6  # else it falls off like this, and is no larger. [turn]
_COMMON = KnobSpec()
_STANDS = (np.arange(9) + 0.5) / 9  # shares of the play that may lie ahead


@dataclass(frozen=True, slots=True)
class Play:
    """Hypotheses of a knob's backlash and of where it stands in it.

    Attributes
    ----------
    backlash : ndarray, shape (n,)
        Of each hypothesis. [turn]
    ahead : ndarray, shape (n,)
        Play that a clockwise turn must cross before it acts; the rest lies the other way. [turn]
    weights : ndarray, shape (n,)
        Adding up to 1.
    is_stated : bool
        Whether the rig file states the backlash.
    last_sense : int
        1 after a clockwise turn, -1 after another, 0 where nobody knows.
    reversals : int
        How often its direction was reversed and the result measured.
    """

    backlash: Array
    ahead: Array
    weights: Array
    is_stated: bool
    last_sense: int = 0
    reversals: int = 0

    @classmethod
    def of(cls, knob: KnobSpec) -> Play:
        """Return the play of a knob that stands nobody knows where."""
        stated = knob.backlash_turns
        if stated is None:
            wide = np.linspace(0.0, _UNSTATED_MOST, 49)
            chance = np.exp(-wide / _UNSTATED_SCALE)
            chance[0] = chance[1:].sum() * _UNSTATED_NONE / (1 - _UNSTATED_NONE)
        else:
            spread = np.linspace(-3.0, 3.0, 25)
            wide = stated + spread * (_STATED_SPREAD * stated + _STATED_LEAST)
            chance = np.exp(-(spread**2) / 2) * (wide >= 0)
        backlash = np.repeat(np.maximum(wide, 0.0), len(_STANDS))
        weights = np.repeat(chance, len(_STANDS))
        return cls(
            backlash, backlash * np.tile(_STANDS, len(wide)), weights / weights.sum(), stated is not None
        )

    @property
    def backlash_turns(self) -> float:
        """Mean of the hypotheses. [turn]"""
        return float(self.weights @ self.backlash)

    @property
    def backlash_sigma_turns(self) -> float:
        """Their spread. [turn]"""
        return float(np.sqrt(self.weights @ (self.backlash - self.backlash_turns) ** 2))

    @property
    def is_known(self) -> bool:
        """Whether its backlash was stated or seen in a reversal."""
        return self.is_stated or self.reversals > 0

    def acting(self, turns: float) -> Array:
        """Return the part of a turn that moves the axis, for each hypothesis, shape (n,).

        Parameters
        ----------
        turns : float
            Clockwise positive. [turn]

        Returns
        -------
        ndarray, shape (n,)
            With the sign of `turns`. [turn]
        """
        play = self.ahead if turns >= 0 else self.backlash - self.ahead
        return np.asarray(np.copysign(np.maximum(abs(turns) - play, 0.0), turns))

    def turned(self, turns: float) -> Play:
        """Return where the knob stands after a turn, clockwise positive. [turn]"""
        if not turns:
            return self
        sense = 1 if turns > 0 else -1
        reversals = self.reversals + (self.last_sense * sense < 0)
        ahead = np.clip(self.ahead - turns, 0.0, self.backlash)
        return Play(self.backlash, ahead, self.weights, self.is_stated, sense, reversals)

    def weighed(self, likelihood: Array) -> Play:
        """Return the same with weights times a likelihood, shape (n,)."""
        weights = self.weights * likelihood
        total = float(weights.sum())
        if not total > 0:
            return self
        return Play(
            self.backlash, self.ahead, weights / total, self.is_stated, self.last_sense, self.reversals
        )

    def turns_for(self, acting: float) -> float:
        """Return how far a hand must turn so that, on the mean of the hypotheses, so much of it moves the axis.

        No take-up is counted where nobody stated a backlash and the knob was not seen to turn yet.

        Parameters
        ----------
        acting : float
            Turn that must act, clockwise positive. [turn]

        Returns
        -------
        float
            With the sign of `acting`. [turn]
        """
        if not acting or not (self.is_stated or self.last_sense or self.reversals):
            return acting
        possible = self.weights > 0
        play = (self.ahead if acting > 0 else self.backlash - self.ahead)[possible]
        ends, order = np.unique(play, return_inverse=True)  # the mean grows linearly between them
        weights = np.bincount(order, self.weights[possible])
        reached = np.cumsum(weights)
        means = np.concatenate([[0.0], np.cumsum(np.diff(ends) * reached[:-1])])
        beyond = int(np.searchsorted(means, abs(acting), side="right")) - 1
        return float(np.copysign(ends[beyond] + (abs(acting) - means[beyond]) / reached[beyond], acting))

    def forgotten(self) -> Play:
        """Return the same backlash, the knob standing nobody knows where: somebody turned and did not say."""
        stands = np.resize(_STANDS, len(self.backlash))
        return Play(self.backlash, self.backlash * stands, self.weights, self.is_stated, 0, self.reversals)


def hand_miss(turns: float, knob: KnobSpec = _COMMON) -> float:
    """Return the one-sigma miss of a turn by hand.

    Parameters
    ----------
    turns : float
        How far it should go, positive. [turn]
    knob : KnobSpec, optional
        Whose smallest turn counts; by default a common one.

    Returns
    -------
    float
        [turn]
    """
    return float(np.hypot(_HAND_SHARE * turns, knob.smallest_turn / 2))
