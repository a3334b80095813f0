"""How far the axis goes per turn of each knob, learned from what was turned and what came of it.

The response is a 2 x 2 matrix: its diagonal is the knobs' gain, the rest is cross-talk from a tripod that is not
level. The rig file gives the prior; each step of the night sharpens it (linear regression with a Gaussian prior).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from polarcheck.alignment import Step
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.play import KnobSpec, Play
from polarcheck.vectors import Array, wrap

__all__ = ["Response", "learn_response"]

_GAIN_SPREAD = 0.15  # one-sigma relative doubt about a stated gain
_UNKNOWN_GAIN = 200.0  # [arcmin/turn] prior spread of a gain that nobody stated
_TILT_SPREAD = 0.03  # one-sigma cross-talk per gain: a base out of level by 1.7 deg


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
