"""The shift that tightening makes: the axis with the base's clamps or bolts tight, minus the axis with them loose.

Where every frame is taken with the clamps tight it drops out: easing them takes it off, tightening puts it back. It
counts for a frame taken with the clamps loose, for the axis will move once more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.alignment import Alignment, Step
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.vectors import Array, azalt_from_direction, direction_from_azalt, wrap

__all__ = ["ClampShift", "clamp_shift", "tightened"]


@dataclass(frozen=True, slots=True)
class ClampShift:
    """What tightening did to the axis.

    Attributes
    ----------
    azimuth_arcmin, altitude_arcmin : float
        Tight minus loose; azimuth about the vertical. [arcmin]
    azimuth_sigma_arcmin, altitude_sigma_arcmin : float
        One sigma. [arcmin]
    """

    azimuth_arcmin: float
    altitude_arcmin: float
    azimuth_sigma_arcmin: float
    altitude_sigma_arcmin: float


def clamp_shift(after: Alignment, own: Array) -> ClampShift | None:
    """Return what tightening did, where the last two steps tell it and no knob was turned between them.

    Parameters
    ----------
    after : Alignment
        Followed with the clamps tight on a step with the clamps loose.
    own : ndarray, shape (2, 2)
        Covariance of its frames' noise alone, on the tangent plane. [rad^2]

    Returns
    -------
    ClampShift or None
        None unless a loose step is followed by a tight one that says turns of 0,0. The axis in the camera is the
        same in both and drops out, so each frame's own noise is left.
    """
    if len(after.steps) < 2:
        return None
    loose, tight = after.steps[-2:]
    if not loose.is_loose or tight.is_loose or tight.is_fresh or tight.turned != (0.0, 0.0):
        return None
    camera = np.clip(np.diag(tight.covariance - own), 0.0, None)
    noise = np.diag(own) + np.clip(np.diag(loose.covariance) - camera, np.diag(own) / 4, None)
    sigma = np.sqrt(noise) / ARCMIN
    azimuth = float(wrap((tight.azimuth_deg - loose.azimuth_deg) * DEGREE)) / ARCMIN
    cosine = max(float(np.cos(tight.altitude_deg * DEGREE)), 0.05)
    altitude = (tight.altitude_deg - loose.altitude_deg) * 60
    return ClampShift(azimuth, altitude, float(sigma[0]) / cosine, float(sigma[1]))


def tightened(alignment: Alignment, shift_arcmin: tuple[float, float]) -> Alignment:
    """Return where the axis stands, now and in every step, once the clamps are tight.

    Parameters
    ----------
    alignment : Alignment
        Steps with the clamps loose are moved; others stay.
    shift_arcmin : tuple of float
        Tight minus loose: azimuth about the vertical, altitude. [arcmin]

    Returns
    -------
    Alignment
        With no loose step.
    """
    steps = tuple(_tight(step, shift_arcmin) for step in alignment.steps)
    if not alignment.is_loose:
        return replace(alignment, steps=steps)
    azimuth, altitude = (float(angle) for angle in azalt_from_direction(alignment.axis))
    axis = direction_from_azalt(azimuth + shift_arcmin[0] * ARCMIN, altitude + shift_arcmin[1] * ARCMIN)
    return replace(alignment, axis=axis, steps=steps)


def _tight(step: Step, shift_arcmin: tuple[float, float]) -> Step:
    if not step.is_loose:
        return step
    return replace(
        step,
        azimuth_deg=step.azimuth_deg + shift_arcmin[0] / 60,
        altitude_deg=step.altitude_deg + shift_arcmin[1] / 60,
        is_loose=False,
    )
