"""Which later frames show one axis that knobs can have reached; the others are left out, each with its reason.

A frame that was solved elsewhere puts the axis degrees away, so it is known by itself. A frame between which and
the others something moved is known by them alone: it takes a majority that agrees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from polarcheck.alignment import FLEXURE_ARCSEC, Alignment
from polarcheck.axis import CameraAxis, FollowedAxis, axes_alone, carry_axis
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import GeometryError, Notice
from polarcheck.frames import Frame, Problem
from polarcheck.vectors import Array, angle_between, rotation_vector

__all__ = ["Agreed", "agreeing_frames", "require_expected", "widened"]

_FARTHEST_MOVE_DEG = 12.0  # knobs do not reach further, a frame solved elsewhere does
_FARTHEST_FROM_POLE_DEG = 20.0
_SHAPE_SIGMAS = 8.0
_SHAPE_FLOOR_PX = 3.0
_APART_SIGMAS = 6.0
_CLAMPED_SIGMAS = 6.0  # by which the axis' place in the camera may differ from what it was
_FLEXURES = 4.0  # times the allowance for sag, which differs over the sky: by less nothing moved
_ONE_PLACE = 0.3 * DEGREE  # within which frames look at one place, as a mount that tracks does for a minute
_LARGEST_ROLL = 10 * DEGREE  # of a camera that was touched; near the pole a turn about the axis looks alike
_STRAY = "does not agree with the other frames: solved wrongly, or something moved between them"
_ROLL_TAIL_ARCSEC = 60.0  # real solutions roll by up to 53 now and then; see sample_frames/README.md


@dataclass(frozen=True, slots=True)
class Agreed:
    """Frames that show one axis.

    Attributes
    ----------
    found : FollowedAxis
        What they show.
    used : tuple of int
        Their indices among the frames that were offered.
    left : tuple of Problem
        The others, with the reason.
    """

    found: FollowedAxis
    used: tuple[int, ...]
    left: tuple[Problem, ...]


def agreeing_frames(
    before: Alignment, frames: Sequence[Frame], observed: Array, low: Sequence[str | None]
) -> Agreed:
    """Choose the frames that agree on an axis within reach, and fit it.

    Parameters
    ----------
    before : Alignment
        What they follow on.
    frames : sequence of Frame, of n
        Frames taken since.
    observed : ndarray, shape (n, k, 3)
        East-North-Up directions of their sensor points.
    low : sequence of str or None, of n
        Why each stands too low to count, where it does.

    Returns
    -------
    Agreed

    Raises
    ------
    GeometryError
        No frame shows a possible axis, or no majority agrees.
    """
    assert before.camera is not None and before.sensor is not None
    pixel = before.sensor.pixel_scale_arcsec * ARCSEC
    whys = zip(low, _impossible(before, observed, pixel), strict=True)
    reasons = {i: reason for i, why in enumerate(whys) if (reason := why[0] or why[1])}
    used = [i for i in range(len(frames)) if i not in reasons]
    if not used:
        first = min(reasons)
        raise GeometryError(f"{frames[first].name}: {reasons[first]}{_again(len(frames))}", 0.0)
    least = len(used) / 2
    found = carry_axis(before.camera, observed[used], pixel)
    if (stray := _stray(before.camera, found, observed[used], pixel)) is not None:
        reasons[used.pop(stray)] = _STRAY
        found = carry_axis(before.camera, observed[used], pixel)
    _require_clamped(before, found, observed[used], pixel, [frames[i] for i in used])
    while (found.apart > _limits(found, before.camera)).any():
        if len(used) < 3 or len(used) - 1 <= least:
            raise GeometryError(_disagreement(found, [frames[i] for i in used]), 0.0)
        reasons[used.pop(_worst(found))] = _STRAY
        found = carry_axis(before.camera, observed[used], pixel)
    left = tuple(
        Problem(frames[i].path, frames[i].name, why, utc=frames[i].utc) for i, why in reasons.items()
    )
    return Agreed(found, tuple(used), left)


def _stray(camera: CameraAxis, found: FollowedAxis, observed: Array, pixel: float) -> int | None:
    """Index of the one frame that makes it look as if declination or camera had moved before all of them.

    It must stand where another one stands: frames at one place show the same, whatever moved before them.
    """
    if len(observed) < 3 or found.camera_moved <= _CLAMPED_SIGMAS:
        return None
    worst = _worst(found)
    others = np.delete(found.attitudes, worst, axis=0)
    sights = angle_between(others @ camera.boresight, found.attitudes[worst] @ camera.boresight)
    turned = np.linalg.norm(rotation_vector(others @ found.attitudes[worst].T), axis=-1)
    at_one_place = ((sights < _ONE_PLACE) & (turned < _LARGEST_ROLL)).any()
    rest = carry_axis(camera, np.delete(observed, worst, axis=0), pixel)
    agree = rest.camera_moved <= _CLAMPED_SIGMAS and (rest.apart <= _limits(rest, camera)).all()
    return worst if agree and at_one_place else None


def _require_clamped(
    before: Alignment, found: FollowedAxis, observed: Array, pixel: float, frames: Sequence[Frame]
) -> None:
    """Refuse frames that agree among themselves, but on another place of the axis in the camera than before."""
    camera = before.camera
    assert camera is not None
    if len(frames) < 3 or found.camera_moved <= _CLAMPED_SIGMAS:
        return
    nowhere = replace(camera, covariance=np.eye(3))  # a radian: as good as not known
    alone = carry_axis(nowhere, observed, pixel)
    flexure = before.systematic.allowance_arcsec if before.systematic else FLEXURE_ARCSEC
    if angle_between(alone.camera.axis, camera.axis) < _FLEXURES * flexure * ARCSEC:
        return
    if (alone.apart > _limits(alone, camera)).any():
        return  # one of them is wrong, or something moved between them
    raise GeometryError(
        f"{frames[-1].name}: declination or camera moved since the result before: these {len(frames)} frames agree, "
        f"but on an axis {found.camera_moved:.0f} sigmas from its place in the camera then. Measure afresh with them; "
        "that result can go on with the night",
        0.0,
    )


def _impossible(before: Alignment, observed: Array, pixel: float) -> list[str | None]:
    """Why each frame cannot show the axis; None where it can."""
    assert before.camera is not None
    axes, misfit = axes_alone(before.camera, observed)
    far = angle_between(axes, before.axis) / DEGREE
    off = angle_between(axes, before.pole.direction) / DEGREE
    shape = max(_SHAPE_SIGMAS * before.camera.noise_px, _SHAPE_FLOOR_PX) * pixel
    return [_why_not(*one) for one in zip(far, off, misfit > shape, strict=True)]


def _why_not(far: float, off: float, is_misshapen: bool) -> str | None:
    if far > _FARTHEST_MOVE_DEG or off > _FARTHEST_FROM_POLE_DEG:
        return (
            f"would put the axis {far:.1f} deg from where it was and {off:.1f} deg from the pole, further than knobs "
            "reach: solved wrongly, or declination or camera moved"
        )
    if is_misshapen:
        return "its sensor's shape on the sky does not fit the camera's: another camera?"
    return None


def _again(count: int) -> str:
    again = "the frame" if count == 1 else "the frames"
    return f". Take {again} again; if that does not help, measure afresh"


def _limits(found: FollowedAxis, camera: CameraAxis) -> Array:
    """How far from the others a frame's axis may lie, shape (n,); a lone frame has no others. [rad]"""
    lever = float(np.sin(angle_between(camera.axis, camera.boresight)))
    tail = _ROLL_TAIL_ARCSEC * ARCSEC * lever
    return np.maximum(_noise_limit(found), tail) if len(found.apart) > 1 else np.full(1, np.inf)


def _worst(found: FollowedAxis) -> int:
    """Index of the frame without which the others agree best."""
    return int(np.argmax(found.relief))


def _disagreement(found: FollowedAxis, frames: Sequence[Frame]) -> str:
    worst = int(np.argmax(found.apart))
    return (
        f"{frames[worst].name}: its axis lies {found.apart[worst] / ARCMIN:.2f} arcmin from that of the other frames, "
        "which is more than noise: the mount, declination or camera moved between them, or it is solved wrongly. "
        "Give only the frames after the last turn"
    )


def require_expected(
    found: FollowedAxis,
    moved: tuple[float, float],
    expected: tuple[float, float] | None,
    before: Alignment,
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
    before : Alignment
        What it was followed on; its doubt is in the move, too.
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
    doubt = np.trace(found.covariance) + (0.0 if before.covariance is None else np.trace(before.covariance))
    limit = 6.0 + 0.6 * size + 6 * float(np.sqrt(doubt)) / ARCMIN
    if float(np.hypot(*off)) > limit:
        raise GeometryError(
            f"{frames[0].name}: the axis moved by {moved[0] / ARCMIN:+.1f} arcmin in azimuth and "
            f"{moved[1] / ARCMIN:+.1f} in altitude, but what was turned should give {expected[0]:+.1f} and "
            f"{expected[1]:+.1f}: declination or camera moved, the frame is solved wrongly, or the turns said are not "
            "those made",
            0.0,
            ["turned"],
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
            f"{frames[worst].name}: its axis lies {found.apart[worst] / ARCMIN:.2f} arcmin from that of all, more "
            "than noise: its solution is off, or something moved a little between the frames. The sigma is from "
            "this scatter; without that frame the axis may be surer.",
        )
    ]


def _noise_limit(found: FollowedAxis) -> Array:
    return np.asarray(_APART_SIGMAS * found.apart_sigma + ARCSEC)
