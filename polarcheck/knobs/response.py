"""How far the axis goes per turn of each knob, learned from what was turned and what came of it.

The response is a 2 x 2 matrix: its diagonal is the knobs' gain, the rest is cross-talk from a tripod that is not
level. The rig file gives the prior; each step of the night sharpens it. Given where a knob stands in its play, a
step is linear in the matrix, so each hypothesis of the play has a Kalman filter of its own for the knob's row, and
the step weighs the hypotheses by how well they foretold it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from polarcheck.alignment import Step
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.knobs.play import Play, hand_miss
from polarcheck.knobs.spec import KnobSpec
from polarcheck.vectors import Array, wrap

__all__ = ["Response", "learn_response"]

_GAIN_SPREAD = 0.15  # one-sigma relative doubt about a stated gain
_NIGHT_SPREAD = 0.02  # relative, from night to night; common practice, no source
_UNKNOWN_GAIN = 200.0  # [arcmin/turn] prior spread of a gain that nobody stated
_TILT_SPREAD = 0.03  # one-sigma cross-talk per gain: a base out of level by 1.7 deg
_TAUGHT = 0.02  # turns that must act before a knob counts as known
_FARTHEST = 3.0  # sigmas by which the best hypothesis may miss a step; beyond it, the step teaches less


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
    plays : tuple of Play
        Where each knob may stand in its play.
    turns_seen : int
        Corrections that it was learned from.
    """

    matrix: Array
    covariance: Array
    known: tuple[bool, bool]
    plays: tuple[Play, Play]
    turns_seen: int

    def move_by(self, turned: tuple[float, float]) -> Array:
        """Return the move that turns should make, shape (2,): azimuth about the vertical, altitude.

        Parameters
        ----------
        turned : tuple of float
            Of the azimuth and the altitude knob, clockwise positive. [turn]

        Returns
        -------
        ndarray, shape (2,)
            [arcmin]
        """
        acting = [float(p.weights @ p.acting(t)) for p, t in zip(self.plays, turned, strict=True)]
        return np.asarray(self.matrix @ acting)


def learn_response(
    steps: Sequence[Step], azimuth: KnobSpec, altitude: KnobSpec, axis_altitude: float
) -> Response:
    """Estimate the knobs' response from what was turned and what came of it.

    Parameters
    ----------
    steps : sequence of Step
        The night so far. A step that says what was turned teaches.
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
    rows = [_Row.of(i, Play.of(knob), mean[i], covariance[i]) for i, knob in enumerate(knobs)]
    known, seen = [knob.gain is not None for knob in knobs], 0
    for before, after in pairwise(steps):
        if after.turned is None:
            rows = [row.forgotten() for row in rows]
            continue
        if after.is_loose != before.is_loose:  # tightening moved the axis too, nobody knows how far
            rows = [row.turned(after.turned[row.index]) for row in rows]
            continue
        if after.turned == (
            0.0,
            0.0,
        ):  # nothing was turned: nothing to learn, and every knob stands as it stood
            continue
        acting = [float(r.play.weights @ r.play.acting(t)) for r, t in zip(rows, after.turned, strict=True)]
        motion, noise = _motion(before, after), np.diag(_motion_noise(before, after))
        rows = [row.taught(after.turned, acting[1 - i], motion[i], noise[i]) for i, row in enumerate(rows)]
        known = [was or abs(turns) > _TAUGHT for was, turns in zip(known, acting, strict=True)]
        seen += 1
    return _response(rows, (known[0], known[1]), seen)


@dataclass(frozen=True, slots=True)
class _Row:
    """One coordinate of the axis, and the knob that moves it: a filter for every hypothesis of its play.

    `mean`, shape (n, 2), and `covariance`, (n, 2, 2), are of the row of the matrix: azimuth knob, altitude knob.
    """

    index: int
    play: Play
    mean: Array
    covariance: Array

    @classmethod
    def of(cls, index: int, play: Play, mean: Array, covariance: Array) -> _Row:
        count = len(play.weights)
        return cls(index, play, np.tile(mean, (count, 1)), np.tile(covariance, (count, 1, 1)))

    def forgotten(self) -> _Row:
        return _Row(self.index, self.play.forgotten(), self.mean, self.covariance)

    def turned(self, turns: float) -> _Row:
        return _Row(self.index, self.play.turned(turns), self.mean, self.covariance)

    def taught(self, turned: tuple[float, float], other: float, motion: float, noise: float) -> _Row:
        """Weigh the hypotheses by a step, and let each learn from it; `other`: turns by which the other knob acted."""
        i, count = self.index, len(self.mean)
        design = np.full((count, 2), other)
        design[:, i] = self.play.acting(turned[i])
        off = motion - np.sum(design * self.mean, axis=-1)
        along = np.einsum("nij,nj->ni", self.covariance, design)
        foretold = np.sum(design * along, axis=-1)
        mean = self.mean
        for _ in range(2):  # what a hand misses moves the axis by the gain, which the step itself tells best
            variance = foretold + noise + _by_hand(mean, turned)
            # turns that were told wrong fit no hypothesis: they must not teach much
            variance = variance * max(1.0, float(np.min(off**2 / variance)) / _FARTHEST**2)
            gain = along / variance[:, None]
            mean = self.mean + gain * off[:, None]
        exponent = -(off**2) / (2 * variance)
        likelihood = np.exp(exponent - exponent.max()) / np.sqrt(variance)
        play = self.play.weighed(likelihood).turned(turned[i])
        return _Row(i, play, mean, self.covariance - gain[:, :, None] * along[:, None, :])


def _by_hand(mean: Array, turned: tuple[float, float]) -> Array:
    """Variance of the move by what a hand misses, for rows of the matrix, shape (n, 2)."""
    doubt = np.array([hand_miss(abs(turns)) if turns else 0.0 for turns in turned])
    return np.asarray(np.sum((mean * doubt) ** 2, axis=-1) + 1e-6)


def _response(rows: Sequence[_Row], known: tuple[bool, bool], seen: int) -> Response:
    matrix, covariance = np.zeros((2, 2)), np.zeros((4, 4))
    for i, row in enumerate(rows):
        weights = row.play.weights
        matrix[i] = weights @ row.mean
        apart = row.mean - matrix[i]
        spread = np.einsum("n,ni,nj->ij", weights, apart, apart)
        covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = np.tensordot(weights, row.covariance, 1) + spread
    return Response(matrix, covariance, known, (rows[0].play, rows[1].play), seen)


def _prior(knobs: tuple[KnobSpec, KnobSpec], altitude: float) -> tuple[Array, Array]:
    """Mean, shape (2, 2), and covariance of each row, (2, 2, 2)."""
    mean, spread = np.zeros((2, 2)), np.zeros((2, 2))
    sizes = [abs(knob.gain) if knob.gain is not None else (knob.size or _UNKNOWN_GAIN) for knob in knobs]
    for i, knob in enumerate(knobs):
        mean[i, i] = knob.gain or 0.0
        stated = _GAIN_SPREAD * sizes[i]
        if knob.gain_sigma is not None:  # another night told it; screws and loads differ a little
            stated = float(np.hypot(knob.gain_sigma, _NIGHT_SPREAD * sizes[i]))
        spread[i, i] = stated if knob.gain is not None else 1.2 * sizes[i]
    cosine = max(float(np.cos(altitude)), 0.1)
    spread[1, 0] = _TILT_SPREAD * sizes[0] * cosine
    spread[0, 1] = _TILT_SPREAD * sizes[1] / cosine
    return mean, np.stack([np.diag(row**2) for row in spread])


def _motion(before: Step, after: Step) -> Array:
    azimuth = float(wrap((after.azimuth_deg - before.azimuth_deg) * DEGREE)) / ARCMIN
    return np.array([azimuth, (after.altitude_deg - before.altitude_deg) * 60])


def _motion_noise(before: Step, after: Step) -> Array:
    """Covariance of a motion; what both share of the axis in the camera drops out, so it is at most that."""
    scale = np.array([1 / max(np.cos(after.altitude_deg * DEGREE), 0.05), 1.0])
    return np.asarray((before.covariance + after.covariance) / ARCMIN**2 * np.outer(scale, scale))
