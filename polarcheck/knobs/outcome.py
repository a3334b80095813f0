"""What turning one knob, both or none is expected to leave, from everything that is in doubt.

In doubt are the axis itself, how far it goes for a turn, where a knob stands in its play, and the hand. All is on
the sky: azimuth times cos(altitude of the axis), altitude.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polarcheck.knobs.goal import chance_within
from polarcheck.knobs.play import hand_miss
from polarcheck.knobs.response import Response
from polarcheck.knobs.spec import KnobSpec
from polarcheck.vectors import Array

__all__ = ["Outcome", "Standing", "outcome_of"]


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the axis stands.

    Attributes
    ----------
    offset : ndarray, shape (2,)
        Axis minus pole: azimuth times cos altitude, altitude. [arcmin]
    covariance : ndarray, shape (2, 2)
        Of it, as wide as its degrees of freedom ask. [arcmin^2]
    cosine : float
        Of the axis' altitude.
    """

    offset: Array
    covariance: Array
    cosine: float

    @property
    def sigma_arcmin(self) -> float:
        """Root mean square of its doubt. [arcmin]"""
        return float(np.sqrt(np.trace(self.covariance)))


@dataclass(frozen=True, slots=True)
class Outcome:
    """What turns of chosen knobs are expected to leave.

    Attributes
    ----------
    turned : tuple of bool
        Whether the azimuth and the altitude knob are turned.
    acting : tuple of float
        Turns that should act, clockwise positive. [turn]
    by_hand : tuple of float
        Turns that the hand makes for it, take-up included, clockwise positive. [turn]
    offset : ndarray, shape (2,)
        Mean of what is left. [arcmin]
    by_hand_alone : ndarray, shape (2, 2)
        Doubt that the hand adds, which no turn takes away. [arcmin^2]
    by_turning : ndarray, shape (2, 2)
        That and what is not known of play and response, which turns teach. [arcmin^2]
    covariance : ndarray, shape (2, 2)
        That and the doubt in the axis. [arcmin^2]
    """

    turned: tuple[bool, bool]
    acting: tuple[float, float]
    by_hand: tuple[float, float]
    offset: Array
    by_hand_alone: Array
    by_turning: Array
    covariance: Array

    @property
    def left_arcmin(self) -> float:
        """Root mean square of the total that is left. [arcmin]"""
        return float(np.sqrt(self.offset @ self.offset + np.trace(self.covariance)))

    @property
    def left_if_known_arcmin(self) -> float:
        """The same if the axis were known exactly. [arcmin]"""
        return float(np.sqrt(self.offset @ self.offset + np.trace(self.by_turning)))

    @property
    def left_if_taught_arcmin(self) -> float:
        """The same if play and response were known, too: what a hand leaves in the end. [arcmin]"""
        return float(np.sqrt(self.offset @ self.offset + np.trace(self.by_hand_alone)))

    def chance(self, goal: float) -> float:
        """Return the probability that the total left is within a goal. [arcmin]"""
        return chance_within(goal, self.offset, self.covariance)


def outcome_of(
    standing: Standing, response: Response, knobs: tuple[KnobSpec, KnobSpec], turned: tuple[bool, bool]
) -> Outcome:
    """Work out the turns of the chosen knobs that leave least, and what they are expected to leave.

    Parameters
    ----------
    standing : Standing
        Where the axis stands.
    response : Response
        How the knobs act; a chosen knob must be known.
    knobs : tuple of KnobSpec
        Azimuth, altitude.
    turned : tuple of bool
        Which knobs are turned.

    Returns
    -------
    Outcome
    """
    scale = np.array([standing.cosine, 1.0])
    matrix = response.matrix * scale[:, None]
    chosen = [i for i in range(2) if turned[i]]
    acting = np.zeros(2)
    if chosen:
        acting[chosen] = np.linalg.lstsq(matrix[:, chosen], -standing.offset, rcond=None)[0]
    by_hand = [response.plays[i].turns_for(float(acting[i])) if turned[i] else 0.0 for i in range(2)]
    hand, added = np.zeros((2, 2)), np.zeros((2, 2))
    for i in chosen:
        play = response.plays[i].acting(by_hand[i])
        column = np.outer(matrix[:, i], matrix[:, i])
        hand += hand_miss(abs(by_hand[i]), knobs[i]) ** 2 * column
        added += float(response.plays[i].weights @ (play - acting[i]) ** 2) * column
    added += hand
    for i in range(2):
        row = response.covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2]
        added[i, i] += scale[i] ** 2 * float(acting @ row @ acting)
    return Outcome(
        turned=turned,
        acting=(float(acting[0]), float(acting[1])),
        by_hand=(by_hand[0], by_hand[1]),
        offset=standing.offset + matrix @ acting,
        by_hand_alone=hand,
        by_turning=added,
        covariance=standing.covariance + added,
    )
