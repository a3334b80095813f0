"""Predicted drift against what a sequence tracked without guiding really shows.

Solved frames tell where the camera was; frames that are not solved are tied to a solved one by their stars. What is
left between the two is what no axis error explains: a periodic error of the drive, flexure, wind.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.axis import is_still
from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.errors import InputError, Notice
from polarcheck.frames import SENSOR_WEIGHTS, Frame, FrameSet, ProblemKind, sensor_of
from polarcheck.outlook.drift import Drift, Rate, drift_in_attitudes, drift_notices, predict_drift
from polarcheck.outlook.star_ties import Seat, few_names, tie_frames
from polarcheck.presenting import WithDict, WithTable
from polarcheck.sky import field_points
from polarcheck.times import seconds_between
from polarcheck.vectors import Array, best_rotations, spherical_from_direction, unit

__all__ = ["DriftCheck", "check_drift"]

_LEAST_FRAMES = 3
_SURE = 3.0  # standard errors at which a slope is no longer chance: 0.3 % of normal noise lies beyond
# east-west over north-south scatter that points to the drive, whose axis moves stars east-west
_LOPSIDED = 2.0
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
        Drift east and north of the first frame's centre, and field rotation, as seen through the air. [arcsec]
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
    def rates_arcsec_per_min(self) -> Array:
        """Slope of what was seen: east, north, rotation, shape (3,). [arcsec/min]"""
        minutes = (self.seconds - self.seconds.mean()) / 60
        return np.asarray(minutes @ self.seen_arcsec / (minutes @ minutes))

    @property
    def steady_parts(self) -> tuple[str, ...]:
        """Which of east, north and rotation exceed the prediction steadily, beyond their uncertainty."""
        excess = np.abs(self.rate_excess_arcsec_per_min) > _SURE * self.rate_excess_sigma
        return tuple(name for name, beyond in zip(PARTS, excess, strict=True) if beyond)

    @property
    def seen_arcsec_per_min(self) -> tuple[float, float]:
        """Mean drift that was seen, east and north on the sky, by a straight line. [arcsec/min]"""
        slope = np.polynomial.polynomial.polyfit(self.seconds / 60, self.seen_arcsec[:, :2], 1)[1]
        return float(slope[0]), float(slope[1])

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


def check_drift(
    alignment: Alignment,
    sequence: FrameSet,
    rate: Rate = "sidereal",
    progress: Callable[[int, int], None] | None = None,
) -> DriftCheck:
    """Compare a sequence tracked without guiding with the drift that the axis predicts.

    Parameters
    ----------
    alignment : Alignment
    sequence : FrameSet
        Frames of one field; at least one of them solved.
    rate : {"sidereal", "king", "solar", "lunar"}
        At which the mount turned.
    progress : callable, optional
        Called with the number of frames whose stars were looked at and of all such frames.

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
    others = [p for p in sequence.problems if not p.is_sidecar]
    wanted = [p for p in others if p.utc is not None and p.kind is ProblemKind.NOT_SOLVED]
    unused = [Notice("frame-unused", f"{p.name}: {p.reason}.") for p in others if p not in wanted]
    _require_one_field(frames)
    tied, notices = tie_frames(alignment.sky, frames, wanted, progress)
    seats = sorted(
        [*_solved(alignment, frames), *tied], key=lambda seat: seconds_between(frames[0].utc, seat.utc)
    )
    seats, flipped = _upright(alignment, frames[0], seats)
    if len(seats) < _LEAST_FRAMES:
        reasons = "".join(f"\n  {notice.text}" for notice in (*unused, *notices, *flipped)[:3])
        count = "1 frame" if len(seats) == 1 else f"{len(seats)} frames"
        raise InputError(
            f"the sequence has {count} that can be used; a drift needs {_LEAST_FRAMES} or more{reasons}"
        )
    seconds = np.array([seconds_between(seats[0].utc, seat.utc) for seat in seats])
    place, seen = _seen(alignment, frames[0], seats)
    predicted = predict_drift(alignment, place, seats[0].utc, seconds, rate)
    slope, sigma, scatter, left = _compared(seconds, seen, predicted)
    guided = _stood_still(seconds, seen, predicted)
    said = (*unused, *notices, *flipped, *drift_notices(predicted))
    return DriftCheck(
        names=tuple(seat.name for seat in seats),
        seconds=seconds,
        seen_arcsec=seen,
        predicted=predicted,
        rate_excess_arcsec_per_min=slope,
        rate_excess_sigma=sigma,
        scatter_arcsec=scatter,
        swing_arcsec=float(np.ptp(left[:, 0])),
        target_deg=place,
        unsolved=sum(any(seat is other for other in tied) for seat in seats),
        is_guided=guided,
        notices=(*said, *([_guider(predicted)] if guided else [])),
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


def _require_one_field(frames: list[Frame]) -> None:
    first = frames[0]
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


def _solved(alignment: Alignment, frames: list[Frame]) -> list[Seat]:
    """How the camera stood in the solved frames, as seen at the site."""
    utc = np.array([frame.utc for frame in frames])
    nodes = alignment.sky.observed(np.array([frame.sky for frame in frames]), utc)
    cameras = best_rotations(unit(nodes[0]), unit(nodes), SENSOR_WEIGHTS)
    return [Seat(frame.name, frame.utc, camera) for frame, camera in zip(frames, cameras, strict=True)]


def _upright(alignment: Alignment, solved: Frame, seats: list[Seat]) -> tuple[list[Seat], tuple[Notice, ...]]:
    """The frames of one side of the pier, and what is said of the others.

    After a change of side the camera stands on its head and the mount has turned far: nothing of before foretells it.
    """
    _, seen = _seen(alignment, solved, seats)
    over = np.abs(seen[:, 2]) > np.pi / 2 / ARCSEC
    if not over.any():
        return seats, ()
    fewer = over if 2 * over.sum() <= len(seats) else ~over
    left = [seat.name for seat, out in zip(seats, fewer, strict=True) if out]
    said = (
        f"{few_names(left)}: the camera stands on its head against the other frames, as after a change of the pier side; give "
        "each side's frames by themselves."
    )
    return [seat for seat, out in zip(seats, fewer, strict=True) if not out], (Notice("frame-unused", said),)


def _seen(alignment: Alignment, solved: Frame, seats: list[Seat]) -> tuple[tuple[float, float], Array]:
    """The first frame's centre, ICRS, and its drift in the camera and the field's rotation, shape (n, 3). [deg], [arcsec]

    As seen at the site, refracted, which is what the prediction speaks of.
    """
    sky, first = alignment.sky, seats[0]
    nodes = sky.observed(solved.sky[None], np.array([solved.utc]))[0]
    sight = first.camera @ unit(SENSOR_WEIGHTS @ nodes)
    target = sky.icrs(sight[None, None], np.array([first.utc]))[0, 0]
    right_ascension, declination = (float(angle) / DEGREE for angle in spherical_from_direction(target))
    place = (right_ascension, declination)
    utc = np.array([seat.utc for seat in seats])
    stars = np.broadcast_to(field_points(place, np.zeros((0, 2))), (len(seats), 5, 3))
    points = sky.observed(stars, utc)
    turns = np.array([seat.camera for seat in seats]) @ first.camera.T
    return place, drift_in_attitudes(points, points[0], turns)


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
