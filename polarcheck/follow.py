"""The axis after the knobs were turned, from frames taken since with both axes clamped.

The knobs turn the whole mount about its own base. What the camera sees of that is one rotation; the axis,
fixed in the camera, goes along. The rotation splits into a swing about the vertical, a tilt about the level
line across the axis' azimuth, and a turn about the axis itself: tracking, or a slip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from polarcheck.alignment import Alignment, AxisError, FrameFile, Step, axis_error
from polarcheck.camera_axis import FollowedAxis, carry_axis
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.correction import knob_rotation
from polarcheck.earth import earth_orientation
from polarcheck.errors import GeometryError, InputError, Notice
from polarcheck.frames import Frame, FrameSet, Problem
from polarcheck.least_squares import turn_about
from polarcheck.plausibility import above_horizon
from polarcheck.sample import sensor_of
from polarcheck.sky import observed_from_icrs
from polarcheck.times import seconds_between
from polarcheck.vectors import Array, angle_between, azalt_from_direction, unit, wrap

__all__ = ["Followed", "Tracking", "follow_frames"]

Tracking = Literal["on", "off"]

_FARTHEST_MOVE_DEG = 12.0  # knobs do not reach further, a frame solved elsewhere does
_FARTHEST_FROM_POLE_DEG = 20.0
_SHAPE_SIGMAS = 8.0
_SHAPE_FLOOR_PX = 3.0
_APART_SIGMAS = 6.0
_ROLL_TAIL_ARCSEC = 60.0  # real solutions roll by up to 53 now and then; see sample_frames/README.md
_SLIP_FLOOR_ARCMIN = 3.0
_TILT_SHARE = np.sin(2.5 * DEGREE)  # of a knob's move that a base out of level may turn about the axis


@dataclass(frozen=True, slots=True)
class Followed:
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
    frames : tuple of Frame
        The frames in use.
    problems : tuple of Problem
        The files that are not.
    notices : tuple of Notice
        Warnings.
    """

    alignment: Alignment
    error: AxisError
    moved_azimuth_arcmin: float
    moved_altitude_arcmin: float
    slip_arcmin: float | None
    frames: tuple[Frame, ...]
    problems: tuple[Problem, ...]
    notices: tuple[Notice, ...]


def follow_frames(
    before: Alignment,
    frame_set: FrameSet,
    *,
    tracking: Tracking | None = None,
    turned: tuple[float, float] | None = None,
    expected_arcmin: tuple[float, float] | None = None,
) -> Followed:
    """Find where the axis stands after the knobs were turned.

    Parameters
    ----------
    before : Alignment
        From `measure` or an earlier `follow`.
    frame_set : FrameSet
        Frames taken since, right ascension and declination clamped.
    tracking : {"on", "off"}, optional
        Whether the mount followed the sky since the last frame before; only serves to see a slip.
    turned : tuple of float, optional
        Turns that the azimuth and altitude knob were given since, net, clockwise positive; kept.
    expected_arcmin : tuple of float, optional
        Azimuth (about the vertical) and altitude move that these turns should have made. [arcmin]

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
        raise InputError("the result before holds no camera to follow; start from measure --out")
    frames = _frames_of(before, frame_set)
    utc = np.array([frame.utc for frame in frames])
    sky = np.array([frame.sky for frame in frames])
    _require_after(before, frames[0])
    earth = earth_orientation(utc)
    above = above_horizon(unit(sky.mean(axis=1)), utc, before.site)
    if not above.all():
        raise GeometryError(
            f"{frames[int(np.argmin(above))].name}: looks below the horizon; solved wrongly?", 0.0
        )
    observed = observed_from_icrs(sky, utc, before.site, before.atmosphere, earth)
    pixel = before.sensor.pixel_scale_arcsec * ARCSEC
    found = carry_axis(before.camera, observed, pixel)
    _require_possible(before, frames, found, pixel)
    found, apart = _widened(found, frames)
    moved = _moved(before, found.axis)
    _require_expected(before, found, moved, expected_arcmin, frames)
    slip, notices = _slip(before, found, utc, tracking, moved)
    dof = before.camera.degrees_of_freedom
    return Followed(
        alignment=_alignment(before, found, frames[-1], turned),
        error=axis_error(found.axis, found.covariance, dof, before.pole),
        moved_azimuth_arcmin=moved[0] / ARCMIN,
        moved_altitude_arcmin=moved[1] / ARCMIN,
        slip_arcmin=slip,
        frames=tuple(frames),
        problems=frame_set.problems,
        notices=(*earth.notices, *apart, *notices),
    )


def _frames_of(before: Alignment, frame_set: FrameSet) -> list[Frame]:
    frames = [frame for frame in frame_set.frames if not _is_last(before, frame)]
    if not frames:
        bad = [f"\n  {p.name}: {p.reason}" for p in frame_set.problems if not p.is_sidecar]
        raise InputError("no frame to follow" + (":" + "".join(bad[:5]) if bad else ""))
    assert before.sensor is not None
    for frame in frames:
        if not sensor_of(frame).is_like(before.sensor):
            raise GeometryError(
                f"{frame.name}: is of another camera ({frame.width_px} x {frame.height_px} px at "
                f"{frame.pixel_scale_arcsec:.3f} arcsec/px, not {before.sensor.width_px} x "
                f"{before.sensor.height_px} at {before.sensor.pixel_scale_arcsec:.3f}); measure afresh with it",
                0.0,
            )
    return frames


def _is_last(before: Alignment, frame: Frame) -> bool:
    """Whether a frame is the one that the result before ended with, to the centisecond that it keeps."""
    return bool(before.steps) and abs(seconds_between(before.steps[-1].utc, frame.utc)) < 0.02


def _require_after(before: Alignment, first: Frame) -> None:
    if before.steps and seconds_between(before.steps[-1].utc, first.utc) < 0:
        raise InputError(f"{first.name}: was taken before the result that it should follow on")


def _require_possible(before: Alignment, frames: Sequence[Frame], found: FollowedAxis, pixel: float) -> None:
    assert before.camera is not None
    shape = np.maximum(_SHAPE_SIGMAS * before.camera.noise_px, _SHAPE_FLOOR_PX) * pixel
    off = float(angle_between(found.axis, before.pole.direction)) / DEGREE
    far = float(angle_between(found.axis, before.axis)) / DEGREE
    worst = int(np.argmax(found.apart))
    apart = found.apart[worst]
    lever = float(np.sin(angle_between(before.camera.axis, before.camera.boresight)))
    limit = max(_noise_limit(found)[worst], _ROLL_TAIL_ARCSEC * ARCSEC * lever)
    if far > _FARTHEST_MOVE_DEG or off > _FARTHEST_FROM_POLE_DEG:
        raise GeometryError(
            f"{frames[worst if apart > limit else 0].name}: would put the axis {far:.1f} deg from where it was and "
            f"{off:.1f} deg from the pole, further than knobs reach: solved wrongly, or declination or camera "
            "moved. Take the frame again; if that does not help, measure afresh",
            0.0,
        )
    if (found.shape_misfit > shape).any():
        name = frames[int(np.argmax(found.shape_misfit))].name
        raise GeometryError(
            f"{name}: its sensor's shape on the sky does not fit the camera's: another camera?", 0.0
        )
    if len(frames) > 1 and apart > limit:
        raise GeometryError(
            f"{frames[worst].name}: its axis lies {apart / ARCMIN:.2f} arcmin from that of the other frames, which is "
            "more than noise: the mount, declination or camera moved between them, or it is solved wrongly. Give "
            "only the frames after the last turn",
            0.0,
        )


def _noise_limit(found: FollowedAxis) -> Array:
    return np.asarray(_APART_SIGMAS * found.apart_sigma + ARCSEC)


def _widened(found: FollowedAxis, frames: Sequence[Frame]) -> tuple[FollowedAxis, list[Notice]]:
    """Let frames that scatter beyond their noise, as a solution off in roll makes them, say so themselves."""
    beyond = found.apart > _noise_limit(found)
    if len(frames) < 2 or not beyond.any():
        return found, []
    worst = int(np.argmax(found.apart))
    return found.widened(), [
        Notice(
            "frames-disagree",
            f"{frames[worst].name}: its axis lies {found.apart[worst] / ARCMIN:.2f} arcmin from the mean of all, more "
            "than noise: its solution is off, or something moved a little between the frames. The sigma is from "
            "this scatter; without that frame the axis may be surer.",
        )
    ]


def _moved(before: Alignment, axis: Array) -> tuple[float, float]:
    azimuth, altitude = azalt_from_direction(np.stack([before.axis, axis]))
    return float(wrap(azimuth[1] - azimuth[0])), float(altitude[1] - altitude[0])


def _require_expected(
    before: Alignment,
    found: FollowedAxis,
    moved: tuple[float, float],
    expected: tuple[float, float] | None,
    frames: Sequence[Frame],
) -> None:
    """Refuse a move far from what was turned; gain, backlash and a hand's noise have their share."""
    if expected is None:
        return
    off = np.array(moved) / ARCMIN - np.array(expected)
    size = float(np.hypot(*expected))
    limit = 6.0 + 0.6 * size + 6 * float(np.sqrt(np.trace(found.covariance))) / ARCMIN
    if float(np.hypot(*off)) > limit:
        raise GeometryError(
            f"{frames[0].name}: the axis moved by {moved[0] / ARCMIN:+.1f} arcmin in azimuth and "
            f"{moved[1] / ARCMIN:+.1f} in altitude, but what was turned should give {expected[0]:+.1f} and "
            f"{expected[1]:+.1f}: declination or camera moved, the frame is solved wrongly, or --turned is not "
            "what was turned",
            0.0,
        )


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
    before: Alignment, found: FollowedAxis, last: Frame, turned: tuple[float, float] | None
) -> Alignment:
    assert before.camera is not None
    azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(found.axis))
    step = Step(last.utc, azimuth, altitude, found.covariance, turned, is_fresh=False)
    return Alignment(
        site=before.site,
        atmosphere=before.atmosphere,
        pole_kind=before.pole_kind,
        target_aim=before.target_aim,
        axis=found.axis,
        covariance=found.covariance,
        degrees_of_freedom=before.camera.degrees_of_freedom,
        camera=before.camera.seen_at(found.attitudes[-1]),
        sensor=before.sensor,
        last_frame=last.name,
        last_file=FrameFile((last.path,), last.clock_ahead_s),
        is_continuous=True,
        steps=(*before.steps, step),
    )
