"""Which later frames may show the axis, and what is refused: another camera, a wrong solution, a moved camera."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.axis import FollowedAxis
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import GeometryError, InputError, Notice
from polarcheck.frames import Frame, FrameSet, sensor_of
from polarcheck.times import seconds_between
from polarcheck.vectors import Array, angle_between

__all__ = ["later_frames", "require_expected", "require_possible", "widened"]

_FARTHEST_MOVE_DEG = 12.0  # knobs do not reach further, a frame solved elsewhere does
_FARTHEST_FROM_POLE_DEG = 20.0
_SHAPE_SIGMAS = 8.0
_SHAPE_FLOOR_PX = 3.0
_APART_SIGMAS = 6.0
_ROLL_TAIL_ARCSEC = 60.0  # real solutions roll by up to 53 now and then; see sample_frames/README.md


def later_frames(before: Alignment, frame_set: FrameSet) -> list[Frame]:
    """Return the frames that can be followed.

    Parameters
    ----------
    before : Alignment
        What they follow on.
    frame_set : FrameSet
        Taken since.

    Returns
    -------
    list of Frame
        In order of time, without the one that `before` ended with.

    Raises
    ------
    InputError
        None is left, or one was taken before the result.
    GeometryError
        One is of another camera.
    """
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
    _require_after(before, frames[0])
    return frames


def _is_last(before: Alignment, frame: Frame) -> bool:
    """Whether a frame is the one that the result before ended with, to the centisecond that it keeps."""
    return bool(before.steps) and abs(seconds_between(before.steps[-1].utc, frame.utc)) < 0.02


def _require_after(before: Alignment, first: Frame) -> None:
    if before.steps and seconds_between(before.steps[-1].utc, first.utc) < 0:
        raise InputError(f"{first.name}: was taken before the result that it should follow on")


def require_possible(before: Alignment, frames: Sequence[Frame], found: FollowedAxis, pixel: float) -> None:
    """Refuse frames that put the axis where no knob reaches, or that do not agree.

    Parameters
    ----------
    before : Alignment
        What they follow on.
    frames : sequence of Frame
        The frames.
    found : FollowedAxis
        What they show.
    pixel : float
        The pixel's angle. [rad]

    Raises
    ------
    GeometryError
        With the frame that stands out and what to do.
    """
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


def require_expected(
    found: FollowedAxis,
    moved: tuple[float, float],
    expected: tuple[float, float] | None,
    frames: Sequence[Frame],
) -> None:
    """Refuse a move far from what was turned; gain, backlash and a hand's noise have their share.

    Parameters
    ----------
    found : FollowedAxis
        What the frames show.
    moved : tuple of float
        Azimuth (about the vertical) and altitude move. [rad]
    expected : tuple of float or None
        What the turns should have given; None expects nothing. [arcmin]
    frames : sequence of Frame
        The frames.

    Raises
    ------
    GeometryError
        They part by more than that.
    """
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


def widened(found: FollowedAxis, frames: Sequence[Frame]) -> tuple[FollowedAxis, list[Notice]]:
    """Let frames that scatter beyond their noise, as a solution off in roll makes them, say so themselves.

    Parameters
    ----------
    found : FollowedAxis
        What the frames show.
    frames : sequence of Frame
        The frames.

    Returns
    -------
    found : FollowedAxis
        With the noise that the scatter shows, if that is more.
    notices : list of Notice
        What to warn of.
    """
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


def _noise_limit(found: FollowedAxis) -> Array:
    return np.asarray(_APART_SIGMAS * found.apart_sigma + ARCSEC)
