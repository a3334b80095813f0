"""The axis after the knobs were turned, from frames taken since with both axes clamped.

The knobs turn the whole mount about its own base. What the camera sees of that is one rotation; the axis,
fixed in the camera, goes along. The rotation splits into a swing about the vertical, a tilt about the level
line across the axis' azimuth, and a turn about the axis itself: tracking, or a slip.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.alignment import Alignment, AxisError, FrameFile, Step
from polarcheck.axis import FollowedAxis, turn_about
from polarcheck.constants import ARCMIN, DEGREE, SIDEREAL_RATE
from polarcheck.errors import InputError, Notice
from polarcheck.followup.agreement import agreeing_frames, require_expected, widened
from polarcheck.followup.later_frames import later_frames
from polarcheck.frames import Frame, FrameSet, Problem
from polarcheck.knobs import ClampShift, clamp_shift, knob_rotation
from polarcheck.measurement import Pointings, low_notice, too_low
from polarcheck.presenting import WithDict
from polarcheck.sky import Epochs
from polarcheck.times import seconds_between
from polarcheck.vectors import Array, azalt_from_direction, unit, wrap

__all__ = ["Followed", "Tracking", "follow_frames"]

Tracking = Literal["on", "off"]

_NARROWED = 0.8  # of the variance of the axis in the camera: frames that leave less would show that it moved
_SLIP_FLOOR_ARCMIN = 3.0
_TILT_SHARE = np.sin(2.5 * DEGREE)  # of a knob's move that a base out of level may turn about the axis


@dataclass(frozen=True, slots=True, repr=False)
class Followed(WithDict):
    """The axis now.

    Attributes
    ----------
    alignment : Alignment
        How the mount stands now, the night's steps included.
    error : AxisError
        Axis minus pole.
    moved_azimuth_arcmin, moved_altitude_arcmin : float
        How far the axis moved since the result before, about the vertical and in altitude. [arcmin]
    slip_arcmin : float or None
        Turn about the axis beyond what tracking explains, westward positive; None where tracking is not
        said or the camera's stand before is not known. [arcmin]
    clamp_shift : ClampShift or None
        What tightening did, where the result before was loose, this one is not, and no knob was turned.
    sees_camera : bool
        Whether the frames would show a bump of declination or a camera that was turned: one frame, or several at one
        place, cannot tell that from turns of the knobs.
    frames : tuple of Frame
        The frames in use.
    problems : tuple of Problem
        The files that are not.
    early : tuple of Problem
        Frames that the result before knows already, or that are older.
    notices : tuple of Notice
        Warnings.
    """

    alignment: Alignment
    error: AxisError
    moved_azimuth_arcmin: float
    moved_altitude_arcmin: float
    slip_arcmin: float | None
    clamp_shift: ClampShift | None
    sees_camera: bool
    frames: tuple[Frame, ...]
    problems: tuple[Problem, ...]
    early: tuple[Problem, ...]
    notices: tuple[Notice, ...]

    def __repr__(self) -> str:
        return f"Followed({self.error.brief}, frames: {len(self.frames)})"


def follow_frames(
    before: Alignment,
    frame_set: FrameSet,
    *,
    tracking: Tracking | None = None,
    turned: tuple[float, float] | None = None,
    expected_arcmin: tuple[float, float] | None = None,
    loose: bool = False,
) -> Followed:
    """Find where the axis stands after the knobs were turned.

    Parameters
    ----------
    before : Alignment
        From `measure` or an earlier `follow`.
    frame_set : FrameSet
        Frames taken since, declination clamped; older ones among them are not counted.
    tracking : {"on", "off"}, optional
        Whether the mount followed the sky since the last frame before; only serves to see a slip.
    turned : tuple of float, optional
        Turns that the azimuth and altitude knob were given since, net, clockwise positive; kept.
    expected_arcmin : tuple of float, optional
        Azimuth (about the vertical) and altitude move that these turns should have made. [arcmin]
    loose : bool
        Whether the frames were taken with the base's clamps or bolts loose; kept.

    Returns
    -------
    Followed

    Raises
    ------
    InputError
        The result before holds no camera, or no frame fits it.
    GeometryError
        A frame does not fit what was possible: another camera, a camera that moved, a wrong solution.
    """
    if before.camera is None or before.sensor is None:
        raise InputError(
            "the result before holds no camera to follow; start from a measurement that was kept"
        )
    frames, early = later_frames(before, frame_set)
    utc = np.array([frame.utc for frame in frames])
    sky = np.array([frame.sky for frame in frames])
    epochs = Epochs.of(utc)
    low = too_low(Pointings.of(unit(sky.mean(axis=1)), epochs, before.site))
    observed = before.sky.observed(sky, epochs)
    agreed = agreeing_frames(before, frames, observed, low)
    used = list(agreed.used)
    frames, utc = [frames[i] for i in used], utc[used]
    found, apart = widened(agreed.found, frames)
    moved = _moved(before, found.axis)
    require_expected(found, moved, expected_arcmin, before, frames)
    slip, notices = _slip(before, found, utc, tracking, moved)
    alignment = _alignment(before, found, frames[-1], turned, loose)
    return Followed(
        alignment=alignment,
        error=alignment.error,
        moved_azimuth_arcmin=moved[0] / ARCMIN,
        moved_altitude_arcmin=moved[1] / ARCMIN,
        slip_arcmin=slip,
        clamp_shift=clamp_shift(alignment, found.own),
        sees_camera=_sees_camera(before, found),
        frames=tuple(frames),
        problems=(*agreed.left, *frame_set.problems),
        early=tuple(early),
        notices=(*epochs.orientation.notices, *low_notice(observed[used]), *apart, *notices),
    )


def _sees_camera(before: Alignment, found: FollowedAxis) -> bool:
    """Whether the frames tell as much of the axis in the camera as was known before."""
    assert before.camera is not None
    narrowed = float(np.trace(found.camera.covariance)) / found.noise_factor
    return narrowed < _NARROWED * float(np.trace(before.camera.covariance))


def _moved(before: Alignment, axis: Array) -> tuple[float, float]:
    azimuth, altitude = azalt_from_direction(np.stack([before.axis, axis]))
    return float(wrap(azimuth[1] - azimuth[0])), float(altitude[1] - altitude[0])


def _slip(
    before: Alignment, found: FollowedAxis, utc: Array, tracking: Tracking | None, moved: tuple[float, float]
) -> tuple[float | None, list[Notice]]:
    """Turn about the axis that tracking does not explain, westward positive, of the frame that has most."""
    assert before.camera is not None
    if tracking is None or not before.is_continuous or not before.steps:
        return None, []
    knobs = knob_rotation(before.axis, *moved)
    turns = turn_about(found.axis, found.attitudes @ (knobs @ before.camera.attitude).T)
    north = before.site.is_north
    westward = -turns if north else turns
    elapsed = np.array([seconds_between(before.steps[-1].utc, (float(a), float(b))) for a, b in utc])
    slips = wrap(westward - (SIDEREAL_RATE * elapsed if tracking == "on" else 0.0))
    slip = float(slips[int(np.argmax(np.abs(slips)))])
    floor = _SLIP_FLOOR_ARCMIN * ARCMIN + _TILT_SHARE * float(np.hypot(*moved)) / max(
        np.cos(_altitude(before)), 0.1
    )
    if abs(slip) <= floor:
        return slip / ARCMIN, []
    return slip / ARCMIN, [
        Notice(
            "slip",
            f"In right ascension the mount stands {abs(slip) / ARCMIN:.0f} arcmin {'west' if slip > 0 else 'east'} of "
            f"where tracking {tracking} would have it: a clutch slipped, it tracked otherwise, or declination or "
            "the camera moved. The axis does not depend on a slip in right ascension, but it does on the other two.",
        )
    ]


def _altitude(before: Alignment) -> float:
    return float(azalt_from_direction(before.axis)[1])


def _alignment(
    before: Alignment, found: FollowedAxis, last: Frame, turned: tuple[float, float] | None, loose: bool
) -> Alignment:
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(found.axis))
    step = Step(last.utc, azimuth, altitude, found.covariance, turned, is_fresh=False, is_loose=loose)
    return Alignment(
        sky=before.sky,
        pole_kind=before.pole_kind,
        target_aim=before.target_aim,
        systematic=before.systematic,
        axis=found.axis,
        covariance=found.covariance,
        degrees_of_freedom=found.camera.degrees_of_freedom,
        camera=found.camera,
        sensor=before.sensor,
        last_frame=last.name,
        last_file=FrameFile((last.path,), last.clock_ahead_s, last.zone),
        is_continuous=True,
        steps=(*before.steps, step),
    )
