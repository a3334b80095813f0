"""Which frames were taken since, with the same camera."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.errors import GeometryError, InputError
from polarcheck.frames import Frame, FrameSet, Problem, ProblemKind, sensor_of
from polarcheck.times import seconds_between

__all__ = ["SAME_TIME_S", "later_frames"]

_ONE_NIGHT_H = 18.0  # between frames of one night, the longest winter night of far latitudes

SAME_TIME_S = 0.02
"""Frames so near in time are one and the same: a kept result rounds times to a hundredth of a second."""


def later_frames(before: Alignment, frame_set: FrameSet) -> tuple[list[Frame], list[Problem]]:
    """Return the frames that can be followed, and the ones that were taken too early.

    Parameters
    ----------
    before : Alignment
        What they follow on.
    frame_set : FrameSet
        May hold the frames of `before` too, as a folder does that a whole night goes into.

    Returns
    -------
    frames : list of Frame
        Those taken after the last one of `before`, in order of time.
    early : list of Problem
        The others.

    Raises
    ------
    InputError
        None is left.
    GeometryError
        One is of another camera.
    """
    frames, early = _parted(before, frame_set.frames)
    if not frames:
        error = InputError(_none_left(before, frame_set, early))
        error.is_unsolved = any(problem.kind is ProblemKind.NOT_SOLVED for problem in frame_set.problems)
        raise error
    _require_one_night(before, frames[0])
    assert before.sensor is not None
    for frame in frames:
        if not sensor_of(frame).is_like(before.sensor):
            raise GeometryError(
                f"{frame.name}: is of another camera ({frame.width_px} x {frame.height_px} px at "
                f"{frame.pixel_scale_arcsec:.3f} arcsec/px, not {before.sensor.width_px} x "
                f"{before.sensor.height_px} at {before.sensor.pixel_scale_arcsec:.3f}); measure afresh with it",
                0.0,
            )
    return frames, early


def _require_one_night(before: Alignment, first: Frame) -> None:
    hours = seconds_between(before.utc, first.utc) / 3600 if before.utc is not None else 0.0
    if hours > _ONE_NIGHT_H:
        raise GeometryError(
            f"{first.name}: was taken {hours:.0f} h after the result that it should follow on, so on another night: "
            "nobody knows that declination, camera and tripod stayed. Measure afresh; that result can go on with "
            "this one's history",
            0.0,
        )


def _parted(before: Alignment, frames: Sequence[Frame]) -> tuple[list[Frame], list[Problem]]:
    later: list[Frame] = []
    early: list[Problem] = []
    for frame in frames:
        seconds = seconds_between(before.steps[-1].utc, frame.utc) if before.steps else np.inf
        if seconds > SAME_TIME_S:
            later.append(frame)
            continue
        reason = "was taken before the result that it should follow on"
        if seconds > -SAME_TIME_S:
            reason = "is the frame that the result ends with"
        early.append(Problem(frame.path, frame.name, reason, utc=frame.utc))
    return later, early


def _none_left(before: Alignment, frame_set: FrameSet, early: Sequence[Problem]) -> str:
    bad = [p for p in (*early, *frame_set.problems) if not p.is_sidecar]
    said = "".join(f"\n  {p.name}: {p.reason}" for p in bad[:5])
    more = f"\n  and {len(bad) - 5} more" if len(bad) > 5 else ""
    since = f" after {before.last_frame}" if before.last_frame else " since"
    return (
        f"no frame to follow: turn the knobs, then give a frame taken{since}{':' if bad else ''}{said}{more}"
    )
