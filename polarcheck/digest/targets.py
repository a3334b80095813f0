"""What the axis does to the targets of a night: drift, the longest exposure, and what their frames showed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.digest.lights import LightFrames
from polarcheck.errors import InputError
from polarcheck.frames import Frame, FrameSet
from polarcheck.outlook import (
    Drift,
    DriftCheck,
    Exposure,
    MotionCurve,
    Optics,
    Outlook,
    check_drift,
    moments_over,
    motion_curve,
    predict_drift,
)
from polarcheck.sky import Target

__all__ = ["DRIFT_S", "TargetDigest", "Tracked", "asked_target", "seen_target"]

DRIFT_S = 600.0
"""Over which a drift is told. [s]"""

_MOST_CHECKED = 60

Date = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Tracked:
    """Exposures with a guider at work, or without one.

    Attributes
    ----------
    exposure : Exposure
        The longest, for a star that moves by one pixel.
    curve : MotionCurve
        The motion as an exposure grows.
    """

    exposure: Exposure
    curve: MotionCurve


@dataclass(frozen=True, slots=True)
class TargetDigest:
    """One target.

    Attributes
    ----------
    target : Target
    utc : tuple of float
        From when on, two-part Julian date.
    lights : LightFrames or None
        Its frames; None for a target that was merely asked for.
    finding : int
        Number of the finding whose axis counts, from 1.
    drift : Drift or None
        Unguided, over ten minutes; None with a reason.
    unguided, guided : Tracked or None
        None without optics, or with a reason.
    seen : DriftCheck or None
        What its frames show; None without frames, or with a reason.
    reason, seen_reason : str or None
        Why there is no prediction, and no drift seen, printable.
    """

    target: Target
    utc: Date
    lights: LightFrames | None
    finding: int
    drift: Drift | None = None
    unguided: Tracked | None = None
    guided: Tracked | None = None
    seen: DriftCheck | None = None
    reason: str | None = None
    seen_reason: str | None = None


def asked_target(
    target: Target, utc: Date, finding: int, alignment: Alignment, optics: Optics | None
) -> TargetDigest:
    """Tell what an axis does to a target.

    Parameters
    ----------
    target : Target
    utc : tuple of float
        From when on.
    finding : int
        Number of the finding.
    alignment : Alignment
        What it found.
    optics : Optics or None
        None where they are not known.

    Returns
    -------
    TargetDigest
    """
    told = TargetDigest(target, utc, None, finding)
    try:
        drift = predict_drift(alignment, target.place, utc, moments_over(DRIFT_S))
        if optics is None:
            return replace(told, drift=drift)
        guided, unguided = (_tracked(alignment, optics, target, utc, held) for held in (True, False))
    except InputError as error:
        return replace(told, reason=str(error))
    return replace(told, drift=drift, guided=guided, unguided=unguided)


def _tracked(alignment: Alignment, optics: Optics, target: Target, utc: Date, guided: bool) -> Tracked:
    ahead = Outlook(alignment, optics, optics.pixel_scale_arcsec, guided)
    return Tracked(ahead.exposure(target, utc), motion_curve(ahead.scene(target, utc), alignment))


def seen_target(
    lights: LightFrames, finding: int, alignment: Alignment, optics: Optics | None
) -> TargetDigest:
    """Tell the same of a target with frames, and what these show.

    Parameters
    ----------
    lights : LightFrames
    finding, alignment, optics
        As for `asked_target`.

    Returns
    -------
    TargetDigest
    """
    told = asked_target(lights.target, lights.frames[0].utc, finding, alignment, optics)
    seen, reason = None, None
    try:
        seen = check_drift(alignment, FrameSet(_evenly(lights), ()))
    except InputError as error:
        reason = str(error)
    return replace(told, lights=lights, seen=seen, seen_reason=reason)


def _evenly(lights: LightFrames) -> tuple[Frame, ...]:
    frames = lights.frames
    count = min(len(frames), _MOST_CHECKED)
    return tuple(frames[i] for i in np.linspace(0, len(frames) - 1, count).round().astype(int))
