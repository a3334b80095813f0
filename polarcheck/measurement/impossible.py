"""What cannot be, as the headers have it: solutions that are none, and exposures at times that no camera has.

A rough solution is written by the capture program from the mount's own coordinates. It knows the camera's rotation
from a setting, so its matrix is the same to the last digit in every frame, which no measured solution is.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from polarcheck.errors import InputError, Notice
from polarcheck.frames import Frame, Problem, sensor_of
from polarcheck.times import iso_from_utc, seconds_between
from polarcheck.vectors import Array

__all__ = ["order_notice", "require_possible_times", "without_rough_solutions"]

Ints = npt.NDArray[np.int_]

_ELSEWHERE = 1e-4  # between the centres of frames that are not of one pointing [rad]
_STAMPS_S = 1.5  # to which times may be rounded


def without_rough_solutions(frames: Sequence[Frame]) -> tuple[tuple[Frame, ...], list[Problem]]:
    """Leave out frames whose solution's matrix another frame, pointed elsewhere, has to the last digit.

    Parameters
    ----------
    frames : sequence of Frame
        With solutions of their own places.
    """
    alike: dict[tuple[str, ...], list[int]] = {}
    for i, frame in enumerate(frames):
        if frame.matrix_deg is not None:
            largest = max(map(abs, frame.matrix_deg))
            alike.setdefault(tuple(f"{term / largest:.10f}" for term in frame.matrix_deg), []).append(i)
    rough = {
        same[i]
        for same in alike.values()
        if len(same) > 1
        for i in _with_others_elsewhere(np.array([frames[k].centre for k in same]))
    }
    why = (
        "its solution's matrix is the same to the last digit as another frame's, pointed elsewhere: a rough one, written "
        "from the mount's coordinates, not measured on stars; plate-solve it"
    )
    problems = [
        Problem(frame.path, frame.name, why, utc=frame.utc) for i, frame in enumerate(frames) if i in rough
    ]
    return tuple(frame for i, frame in enumerate(frames) if i not in rough), problems


def _with_others_elsewhere(centres: Array) -> Ints:
    """Which directions, shape (n, 3), are far from any of the others."""
    least, most = centres.min(axis=0), centres.max(axis=0)
    if np.linalg.norm(most - least) <= _ELSEWHERE:
        return np.array([], dtype=int)
    return np.flatnonzero([np.linalg.norm(centres - one, axis=-1).max() > _ELSEWHERE for one in centres])


def require_possible_times(frames: Sequence[Frame]) -> list[Notice]:
    """Refuse exposures of one camera that overlap three deep, or both of two; warn of two that overlap.

    Parameters
    ----------
    frames : sequence of Frame
        In order of time.

    Raises
    ------
    InputError
        With the frames and what may be wrong.
    """
    overlapping: list[tuple[Frame, Frame]] = []
    for camera in _by_camera(frames):
        for step in (1, 2):
            for first, second in zip(camera, camera[step:], strict=False):
                if _overlap(first, second):
                    overlapping.append((first, second))
                    if step == 2 or len(camera) == 2:
                        raise InputError(_overlap_text(first, second))
    if not overlapping:
        return []
    return [Notice("times-overlap", _overlap_text(*overlapping[0]) + ".")]


def _by_camera(frames: Sequence[Frame]) -> list[list[Frame]]:
    cameras: list[list[Frame]] = []
    for frame in frames:
        sensor = sensor_of(frame)
        camera = next((c for c in cameras if sensor_of(c[0]).is_like(sensor)), None)
        if camera is None:
            cameras.append(camera := [])
        camera.append(frame)
    return cameras


def _overlap(first: Frame, second: Frame) -> bool:
    gap = seconds_between(first.utc, second.utc)
    exposed = ((first.exposure_s or 0.0) + (second.exposure_s or 0.0)) / 2
    if gap >= exposed - _STAMPS_S and gap != 0:
        return False
    return float(np.linalg.norm(first.centre - second.centre)) > _ELSEWHERE


def _overlap_text(first: Frame, second: Frame) -> str:
    gap = seconds_between(first.utc, second.utc)
    names = f"{first.name} and {second.name}"
    if gap < _STAMPS_S:
        return (
            f"{names} show different fields at the same time ({iso_from_utc(first.utc)[:19]}): a camera takes one "
            "after the other. The times in the headers are wrong, copied from one frame perhaps; each frame needs its "
            "own"
        )
    length = max(first.exposure_s or 0.0, second.exposure_s or 0.0)
    return (
        f"{names} were taken {gap:.0f} s apart, but exposed for {length:.0f} s: exposures of one camera cannot overlap. "
        "The length in the headers is wrong (milliseconds? the sum of a stack?), and with it the middle of the "
        "exposure; it must be in seconds"
    )


def order_notice(frames: Sequence[Frame]) -> Notice | None:
    """Return a notice where numbered names go round the corner in order of time: the clock was set back meanwhile.

    Parameters
    ----------
    frames : sequence of Frame
        In order of time.
    """
    stems = {re.sub(r"\d+", "#", frame.name) for frame in frames}
    numbers = [[int(n) for n in re.findall(r"\d+", frame.name)] for frame in frames]
    if len(stems) != 1 or not numbers or not numbers[0]:
        return None
    back = [i for i in range(1, len(numbers)) if numbers[i] < numbers[i - 1]]
    if len(back) != 1 or not numbers[-1] < numbers[0]:
        return None
    late, early = frames[back[0] - 1].name, frames[back[0]].name
    return Notice(
        "clock-jump",
        f"By their times {late} was taken before {early}, by their names after it: was the clock set back meanwhile? "
        "The answer takes the times as they stand. If the clock was set, give the frames before and after separately, "
        "and say how far the clock was ahead where it was wrong.",
        ("clock_ahead_s",),
    )
