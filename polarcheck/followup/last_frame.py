"""The last used frame, looked at again: which of its stars marks the way on the sensor."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.alignment import Alignment, FrameFile
from polarcheck.errors import FrameError
from polarcheck.followup.later_frames import SAME_TIME_S
from polarcheck.followup.mark import StarTarget, View, choose_star
from polarcheck.frames import Frame, Image, read_frame, read_image, read_solution, sensor_of
from polarcheck.knobs import Move
from polarcheck.stars import as_one_plane, find_stars, mark_candidates
from polarcheck.times import seconds_between
from polarcheck.vectors import Array

__all__ = ["SensorMark", "StarFinder", "mark_on_sensor"]

StarFinder = Callable[[Image, float], Array]
"""Takes an image and a margin to the edge; gives places of stars, (n, 2), the easiest to watch first."""

_MOST_CANDIDATES = 200
_MARGIN_SHARE, _MARGIN_PX = 0.03, 20.0  # of the shorter side, and at most


@dataclass(frozen=True, slots=True)
class SensorMark:
    """The mark on the sensor, or why there is none.

    Attributes
    ----------
    target : StarTarget or None
        Which star must go where.
    reason : str or None
        Why there is none, in plain words, printable.
    pixels : ndarray, shape (height, width), or None
        Of the frame, its colours as one plane, for a picture.
    """

    target: StarTarget | None
    reason: str | None = None
    pixels: Any = None


class _NoMarkError(Exception):
    """Why there is no mark."""


def mark_on_sensor(
    alignment: Alignment, moves: Sequence[Move], find_stars: StarFinder | None = None
) -> SensorMark:
    """Tell which star of the last used frame must go where while the knobs are turned.

    Parameters
    ----------
    alignment : Alignment
        How the mount stands; it names the frame.
    moves : sequence of Move
        Of both knobs, in order.
    find_stars : callable, optional
        How to find stars; by default `polarcheck.stars` does.

    Returns
    -------
    SensorMark
        Nothing that is wrong with the frame raises: it is the reason for having no mark.
    """
    try:
        return _mark(alignment, moves, find_stars or _stars_to_watch)
    except _NoMarkError as error:
        return SensorMark(None, str(error))


def _mark(alignment: Alignment, moves: Sequence[Move], find_stars: StarFinder) -> SensorMark:
    name = alignment.last_frame
    if name is None:
        raise _NoMarkError("an error was given and no frame, so there is no star to watch")
    if alignment.last_file is None:
        raise _NoMarkError(f"the result does not say where {name} lies; keep one again, or give the frames")
    frame = _found(alignment, alignment.last_file, name)
    try:
        view = View(
            read_solution(frame.path, clock_ahead_s=frame.clock_ahead_s, zone=frame.zone),
            frame.utc,
            alignment.sky,
        )
        image = read_image(frame.path)
    except FrameError as error:
        raise _NoMarkError(f"{name} {error.reason}, so there is no star to watch") from None
    margin = min(_MARGIN_PX, _MARGIN_SHARE * min(frame.width_px, frame.height_px))
    if image.pixels.shape[-2:] != (frame.height_px, frame.width_px):
        raise _NoMarkError(f"the pixels of {name} are not of the size that was solved")
    stars = find_stars(image, margin)[:_MOST_CANDIDATES]
    if len(stars) == 0:
        raise _NoMarkError(f"on {name} no star stands out that is round, alone and not saturated")
    target = choose_star(view, stars, moves, alignment.axis, name, margin)
    return SensorMark(target, None, as_one_plane(image.pixels, image.mosaic))


def _found(alignment: Alignment, file: FrameFile, name: str) -> Frame:
    """Find the frame again; only the same camera at the same moment counts as the same."""
    problem = f"{name} is no longer where it was; give the frames instead of the kept result"
    for path in file.paths:
        if not _is_file(path):
            continue
        try:
            frame = read_frame(path, clock_ahead_s=file.clock_ahead_s, zone=file.zone)
        except FrameError as error:
            problem = f"{name} {error.reason}"
            continue
        if _is_same(alignment, frame):
            return frame
        problem = f"where {name} was there is another frame now; give the frames instead of the kept result"
    raise _NoMarkError(problem)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def _is_same(alignment: Alignment, frame: Frame) -> bool:
    if not alignment.steps or alignment.sensor is None:
        return False
    apart = abs(seconds_between(alignment.steps[-1].utc, frame.utc))
    return apart < SAME_TIME_S and sensor_of(frame).is_like(alignment.sensor)


def _stars_to_watch(image: Image, margin: float) -> Array:
    pixels = image.pixels
    good = np.isfinite(pixels)
    if not good.any():
        return np.empty((0, 2))
    if not good.all():  # a dead column must not hide the stars beside it
        pixels = np.where(good, pixels, np.median(pixels[good]))
    table = find_stars(pixels, mosaic=image.mosaic, saturation=image.saturation)
    best = mark_candidates(table, margin_px=margin)
    return np.stack([table.x_px[best], table.y_px[best]], axis=-1)
