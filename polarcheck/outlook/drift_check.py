"""Predicted drift against what a sequence tracked without guiding really shows.

Solved frames tell where the camera was; frames that are not solved are tied to a solved one by their stars. What is
left between the two is what no axis error explains: a periodic error of the drive, flexure, wind.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.axis import is_still
from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.errors import FrameError, InputError, Notice
from polarcheck.frames import (
    SENSOR_WEIGHTS,
    Frame,
    FrameSet,
    ProblemKind,
    Solution,
    node_pixels,
    read_image,
    read_solution,
    sensor_of,
)
from polarcheck.outlook.drift import Drift, Rate, predict_drift
from polarcheck.presenting import WithDict, WithTable
from polarcheck.stars import StarTable, find_stars
from polarcheck.times import seconds_between
from polarcheck.vectors import Array, best_rotations, spherical_from_direction, unit

__all__ = ["DriftCheck", "check_drift"]

_LEAST_STARS = 8
_PAIR_PX = 3.0  # how near a star must come to its partner
_REACH_PX = 60.0  # farthest that stars move from one frame to the next, other than by what was found before
_LEAST_FRAMES = 3
_SURE = 3.0  # standard errors at which a slope is no longer chance: 0.3 % of normal noise lies beyond
_LOPSIDED = (
    2.0  # east-west over north-south scatter that points to the drive, whose axis moves stars east-west
)
_LEAST_SWAY_ARCSEC = 0.3  # scatter below which that is not worth a word; common practice, no source
PARTS = ("east", "north", "rotation")
_CLEAR = 5.0  # predicted drift over the unrest of a field, above which one that does not drift is guided


@dataclass(frozen=True, slots=True, repr=False)
class DriftCheck(WithDict, WithTable):
    """What a sequence shows beside what was predicted.

    Attributes
    ----------
    names : tuple of str
        The frames, in order of time.
    seconds : ndarray, shape (n,)
        Mid-exposures since the first. [s]
    seen_arcsec : ndarray, shape (n, 3)
        Drift east and north of the first frame's centre, and field rotation. [arcsec]
    predicted : Drift
        At the same moments.
    rate_excess_arcsec_per_min : ndarray, shape (3,)
        Slope of seen minus predicted: east, north, rotation. [arcsec/min]
    rate_excess_sigma : ndarray, shape (3,)
        Its standard error: the scatter's and the axis' own. [arcsec/min]
    scatter_arcsec : ndarray, shape (3,)
        Root mean square of what is left without that slope. [arcsec]
    swing_arcsec : float
        Largest less smallest of what is left along right ascension. [arcsec]
    target_deg : tuple of float
        The first frame's centre, ICRS. [deg]
    unsolved : int
        Frames tied to a solved one by their stars.
    is_guided : bool
        Whether the field stood still although the axis would make it drift.
    notices : tuple of Notice
        Frames that could not be used, and a guider.
    """

    names: tuple[str, ...]
    seconds: Array
    seen_arcsec: Array
    predicted: Drift
    rate_excess_arcsec_per_min: Array
    rate_excess_sigma: Array
    scatter_arcsec: Array
    swing_arcsec: float
    target_deg: tuple[float, float]
    unsolved: int
    is_guided: bool
    notices: tuple[Notice, ...]

    def __repr__(self) -> str:
        east, north, _ = self.rate_excess_arcsec_per_min
        return f"DriftCheck({len(self.names)} frames, excess east {east:+.2f}, north {north:+.2f} arcsec/min)"

    @property
    def steady_parts(self) -> tuple[str, ...]:
        """Which of east, north and rotation exceed the prediction steadily, beyond their uncertainty."""
        excess = np.abs(self.rate_excess_arcsec_per_min) > _SURE * self.rate_excess_sigma
        return tuple(name for name, beyond in zip(PARTS, excess, strict=True) if beyond)

    @property
    def points_to_drive(self) -> bool:
        """Whether what is left lies so much more east-west than north-south that the drive is the likely cause."""
        east, north = self.scatter_arcsec[:2]
        return bool(east > _LOPSIDED * north and east > _LEAST_SWAY_ARCSEC)

    @property
    def left_arcsec(self) -> Array:
        """Seen minus predicted, shape (n, 3). [arcsec]"""
        drift = self.predicted
        whole = np.stack([drift.east_arcsec, drift.north_arcsec, drift.rotation_arcsec], axis=-1)
        return np.asarray(self.seen_arcsec - whole)


def check_drift(alignment: Alignment, sequence: FrameSet, rate: Rate = "sidereal") -> DriftCheck:
    """Compare a sequence tracked without guiding with the drift that the axis predicts.

    Parameters
    ----------
    alignment : Alignment
    sequence : FrameSet
        Frames of one field; at least one of them solved.
    rate : {"sidereal", "king", "solar", "lunar"}
        At which the mount turned.

    Returns
    -------
    DriftCheck

    Raises
    ------
    InputError
        No frame is solved, fewer than three frames can be used, or the frames show several fields.
    """
    frames = list(sequence.frames)
    if not frames:
        reasons = "".join(f"\n  {p.name}: {p.reason}" for p in sequence.problems[:3] if not p.is_sidecar)
        raise InputError(
            f"the sequence holds no solved frame, which is needed to know where it looks{reasons}"
        )
    first = frames[0]
    rows = [(frame.name, frame.utc, nodes) for frame, nodes in _solved(first, frames)]
    tied, notices = _tied(first, sequence)
    rows = sorted([*rows, *tied], key=lambda row: seconds_between(first.utc, row[1]))
    if len(rows) < _LEAST_FRAMES:
        raise InputError(
            f"the sequence has {len(rows)} frames that can be used; a drift needs {_LEAST_FRAMES} or more"
        )
    start = rows[0]
    seconds = np.array([seconds_between(start[1], row[1]) for row in rows])
    nodes = np.array([row[2] for row in rows])
    target = unit(SENSOR_WEIGHTS @ nodes[0])
    place = tuple(float(angle) / DEGREE for angle in spherical_from_direction(target))
    seen = _seen(nodes, target)
    predicted = predict_drift(alignment, (place[0], place[1]), start[1], seconds, rate)
    slope, sigma, scatter, left = _compared(seconds, seen, predicted)
    guided = _stood_still(seconds, seen, predicted)
    return DriftCheck(
        names=tuple(row[0] for row in rows),
        seconds=seconds,
        seen_arcsec=seen,
        predicted=predicted,
        rate_excess_arcsec_per_min=slope,
        rate_excess_sigma=sigma,
        scatter_arcsec=scatter,
        swing_arcsec=float(np.ptp(left[:, 0])),
        target_deg=(place[0], place[1]),
        unsolved=len(tied),
        is_guided=guided,
        notices=(*notices, *([_guider(predicted)] if guided else [])),
    )


def _stood_still(seconds: Array, seen: Array, predicted: Drift) -> bool:
    """Whether the field did not drift where it should have, beyond its unrest."""
    unrest = float(np.sqrt(np.mean((seen[:, :2] - seen[:, :2].mean(axis=0)) ** 2)))
    far = float(np.hypot(predicted.east_arcsec, predicted.north_arcsec).max())
    return far > _CLEAR * max(unrest, 1.0) and is_still(seen[:, :2] * ARCSEC, seconds, ARCSEC)


def _guider(predicted: Drift) -> Notice:
    far = float(np.hypot(predicted.east_arcsec, predicted.north_arcsec).max())
    return Notice(
        "guided",
        f"The field stood still where the axis would make it drift by {far:.0f} arcsec: a guider was at work, and what "
        "is left between the two is what it corrected. Only the rotation can be compared; for the drift take the "
        "sequence with guiding off.",
    )


def _solved(first: Frame, frames: list[Frame]) -> list[tuple[Frame, Array]]:
    kind = sensor_of(first)
    centre = unit(SENSOR_WEIGHTS @ first.sky)
    reach = np.hypot(first.width_px, first.height_px) / 2 * first.pixel_scale_arcsec * ARCSEC
    for frame in frames:
        if not sensor_of(frame).is_like(kind):
            raise InputError(
                f"{frame.name}: is of another camera than {first.name}; give one camera's sequence"
            )
        if np.arccos(np.clip(unit(SENSOR_WEIGHTS @ frame.sky) @ centre, -1, 1)) > reach:
            raise InputError(
                f"{frame.name}: shows another field than {first.name}; give one field's sequence"
            )
    return [(frame, frame.sky) for frame in frames]


def _seen(nodes: Array, target: Array) -> Array:
    """Drift of the target in the camera and field rotation, shape (n, 3). [arcsec]

    The sky moved in the camera by the opposite of what the camera moved over the sky.
    """
    camera = best_rotations(unit(nodes[0]), unit(nodes), SENSOR_WEIGHTS)
    east = unit(np.cross([0.0, 0.0, 1.0], target))
    north = np.cross(target, east)
    star = np.einsum("nji,j->ni", camera, target)
    moved = np.stack([star @ east, star @ north], axis=-1) / (star @ target)[:, None]
    turned = np.einsum("nji,j->ni", camera, north)
    rotation = np.arctan2(turned @ east, turned @ north)
    return np.asarray(np.concatenate([moved, rotation[:, None]], axis=-1) / ARCSEC)


def _compared(seconds: Array, seen: Array, predicted: Drift) -> tuple[Array, Array, Array, Array]:
    """Slope of seen minus predicted, its standard error, the scatter around it, and what is left."""
    whole = np.stack([predicted.east_arcsec, predicted.north_arcsec, predicted.rotation_arcsec], axis=-1)
    minutes = (seconds - seconds.mean()) / 60
    apart = seen - whole
    slope = minutes @ apart / (minutes @ minutes)
    left = apart - apart.mean(axis=0) - minutes[:, None] * slope
    variance = np.sum(left**2, axis=0) / max(len(seconds) - 2, 1)
    own = np.zeros(3)
    if predicted.sigma_arcsec is not None and seconds[-1] > 0:
        own = predicted.sigma_arcsec[-1] / (seconds[-1] / 60)
    sigma = np.sqrt(variance / (minutes @ minutes) + own**2)
    return slope, sigma, np.sqrt(np.mean(left**2, axis=0)), left


def _tied(
    first: Frame, sequence: FrameSet
) -> tuple[list[tuple[str, tuple[float, float], Array]], tuple[Notice, ...]]:
    """Frames that are not solved, tied to the first solved one by their stars: name, time, sensor points."""
    others = [p for p in sequence.problems if not p.is_sidecar]
    wanted = [p for p in others if p.utc is not None and p.kind is ProblemKind.NOT_SOLVED]
    notices = [Notice("frame-unused", f"{p.name}: {p.reason}.") for p in others if p not in wanted]
    if not wanted:
        return [], tuple(notices)
    try:
        solution = read_solution(first.solution_file or first.path)
        known = _stars(first.path)
    except FrameError as error:
        return [], (
            *notices,
            Notice("frame-unused", f"{first.name}: {error.reason}, so no star can be matched."),
        )
    rows, shift = [], np.zeros(2)
    for problem in sorted(wanted, key=lambda p: seconds_between(first.utc, p.utc or first.utc)):
        try:
            matched = _moved(known, _stars(problem.path), shift)
        except FrameError as error:
            notices.append(Notice("frame-unused", f"{problem.name}: {error.reason}."))
            continue
        if matched is None or problem.utc is None:
            said = f"{problem.name}: too few of its stars could be matched with those of {first.name}."
            notices.append(Notice("frame-unused", said))
            continue
        turn, shift = matched
        rows.append((problem.name, problem.utc, _points(solution, turn, shift)))
    return rows, tuple(notices)


def _stars(path: Path) -> StarTable:
    image = read_image(path)
    return find_stars(image.pixels, mosaic=image.mosaic, saturation=image.saturation)


def _points(solution: Solution, turn: float, shift: Array) -> Array:
    """ICRS directions of the sensor's points, when the stars turned about the centre and shifted. [rad], [px]"""
    middle = np.array([(solution.width_px - 1) / 2, (solution.height_px - 1) / 2])
    c, s = np.cos(turn), np.sin(turn)
    pixels = node_pixels(solution.width_px, solution.height_px) - middle - shift
    return solution.icrs_from_pixels(pixels @ np.array([[c, -s], [s, c]]) + middle)


def _moved(known: StarTable, other: StarTable, guess: Array) -> tuple[float, Array] | None:
    """Turn about the sensor's centre and shift that carry known stars onto others; None if too few agree."""
    middle = np.array([(known.width_px - 1) / 2, (known.height_px - 1) / 2])
    a = np.stack([known.x_px, known.y_px], axis=-1)[:200] - middle
    b = np.stack([other.x_px, other.y_px], axis=-1)[:200] - middle
    if min(len(a), len(b)) < _LEAST_STARS:
        return None
    shift = _most_common(a, b, guess)
    turn = 0.0
    for _ in range(3):
        moved = _turned(a, turn) + shift
        apart = np.linalg.norm(moved[:, None] - b[None], axis=-1)
        nearest = apart.argmin(axis=1)
        near = apart[np.arange(len(a)), nearest] < _PAIR_PX
        if near.sum() < _LEAST_STARS:
            return None
        turn, shift = _fitted(a[near], b[nearest[near]])
    return turn, shift


def _most_common(a: Array, b: Array, guess: Array) -> Array:
    """The shift on which most pairs of stars agree, near a guessed one. [px]"""
    shifts = (b[None] - a[:, None]).reshape(-1, 2)
    shifts = shifts[np.abs(shifts - guess).max(axis=1) < _REACH_PX]
    if not len(shifts):
        return guess
    apart = np.linalg.norm(shifts[:, None] - shifts[None], axis=-1) < _PAIR_PX
    best = int(apart.sum(axis=1).argmax())
    return np.asarray(shifts[apart[best]].mean(axis=0))


def _turned(places: Array, turn: float) -> Array:
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(places @ np.array([[c, s], [-s, c]]))


def _fitted(a: Array, b: Array) -> tuple[float, Array]:
    """Turn and shift by least squares, in the plane. [rad], [px]"""
    da, db = a - a.mean(axis=0), b - b.mean(axis=0)
    turn = float(np.arctan2(np.sum(da[:, 0] * db[:, 1] - da[:, 1] * db[:, 0]), np.sum(da * db)))
    return turn, np.asarray(b.mean(axis=0) - _turned(a.mean(axis=0), turn))
