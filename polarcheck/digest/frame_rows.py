"""The frames of a night, each with what it was taken for, its stars, and a small picture of some."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from polarcheck.digest.lights import LightFrames
from polarcheck.digest.thumbnails import Thumbnail, thumbnail_of
from polarcheck.errors import FrameError
from polarcheck.frames import FrameSet, read_image
from polarcheck.measurement import MeasurementSchema
from polarcheck.night import NightStep
from polarcheck.printable import printable
from polarcheck.stars import FrameStars, stars_of
from polarcheck.times import iso_from_utc

__all__ = ["FrameRow", "Part", "frame_rows", "with_pictures"]

Part = Literal["sweep", "follow-up", "target", "none"]

_MOST_PICTURES = 24


@dataclass(frozen=True, slots=True)
class FrameRow:
    """One frame.

    Attributes
    ----------
    name : str
        Printable.
    path : pathlib.Path or None
        None where the folder holds it no more.
    time_utc : str or None
        Mid-exposure, ISO 8601, UTC; None where not known.
    part : {"sweep", "follow-up", "target", "none"}
        What it was taken for.
    number : int or None
        Of the finding, or of the target, from 1.
    reason : str or None
        Why it bears on no finding, printable; None where it does, or is of a target.
    axis_angle_deg, residual_arcsec : float or None
        Of a sweep's frames. [deg], [arcsec]
    stars : FrameStars or None
        None where nobody looked.
    picture : Thumbnail or None
        None where there is none.
    """

    name: str
    path: Path | None
    time_utc: str | None
    part: Part
    number: int | None
    reason: str | None
    axis_angle_deg: float | None = None
    residual_arcsec: float | None = None
    stars: FrameStars | None = None
    picture: Thumbnail | None = None


def frame_rows(
    steps: Sequence[NightStep], frame_set: FrameSet, lights: Sequence[LightFrames]
) -> tuple[FrameRow, ...]:
    """List the frames of a night.

    Parameters
    ----------
    steps : sequence of NightStep
        The findings, whose results tell which frames they used and why not others.
    frame_set : FrameSet
        What the folder holds now.
    lights : sequence of LightFrames
        The targets.

    Returns
    -------
    tuple of FrameRow
        In order of time, those without time last.
    """
    rows: dict[str, FrameRow] = {}
    for frame in frame_set.frames:
        rows[frame.name] = FrameRow(frame.name, frame.path, iso_from_utc(frame.utc), "none", None, None)
    for problem in frame_set.problems:
        if not problem.is_sidecar:
            utc = iso_from_utc(problem.utc) if problem.utc else None
            rows[problem.name] = FrameRow(problem.name, problem.path, utc, "none", None, problem.reason)
    for number, light in enumerate(lights, 1):
        for frame in light.frames:
            rows[frame.name] = replace(rows[frame.name], part="target", number=number)
    beside = {problem.name for problem in frame_set.problems if problem.is_sidecar}
    for number, step in enumerate(steps, 1):
        for row in _of_step(step, number):
            if row.name not in beside:
                rows[row.name] = _joined(rows.get(row.name), row)
    return tuple(sorted(rows.values(), key=lambda row: (row.time_utc is None, row.time_utc or "", row.name)))


def _of_step(step: NightStep, number: int) -> list[FrameRow]:
    """What one finding says of its frames."""
    if isinstance(step.result, MeasurementSchema):
        return [
            FrameRow(
                printable(entry.file),
                None,
                entry.mid_exposure_utc,
                "sweep" if entry.used else "none",
                number if entry.used else None,
                _cut(entry.reason),
                entry.axis_angle_deg if entry.used else None,
                entry.residual_arcsec if entry.used else None,
            )
            for entry in step.result.frames
        ]
    return [
        FrameRow(
            printable(entry.file),
            None,
            entry.mid_exposure_utc,
            "follow-up" if entry.used else "none",
            number if entry.used else None,
            _cut(entry.reason),
        )
        for entry in step.result.frames
    ]


def _cut(reason: str | None) -> str | None:
    """A reason, printable: files may be edited."""
    return None if reason is None else printable(reason, 500)


def _joined(known: FrameRow | None, told: FrameRow) -> FrameRow:
    """Put together what is known of a frame and what a finding tells; a use goes before a reason against one."""
    if known is None:
        return told
    if told.part != "none":
        return replace(told, path=known.path, time_utc=known.time_utc or told.time_utc)
    if known.part != "none":
        return known
    return replace(known, reason=told.reason or known.reason)


def with_pictures(
    rows: Sequence[FrameRow], progress: Callable[[int, int], None] | None = None
) -> tuple[FrameRow, ...]:
    """Look at the pixels of some frames, evenly chosen from each finding and each target.

    Parameters
    ----------
    rows : sequence of FrameRow
    progress : callable, optional
        Called with the number of frames looked at and of all that will be.

    Returns
    -------
    tuple of FrameRow
        The same, some with stars and a picture; where pixels cannot be read, `stars` holds the reason.
    """
    chosen = _chosen(rows)
    found = list(rows)
    for done, index in enumerate(chosen, 1):
        path = rows[index].path
        assert path is not None
        found[index] = replace(rows[index], stars=stars_of(path), picture=_picture(path))
        if progress is not None:
            progress(done, len(chosen))
    return tuple(found)


def _picture(path: Path) -> Thumbnail | None:
    try:
        return thumbnail_of(read_image(path))
    except FrameError:
        return None


def _chosen(rows: Sequence[FrameRow]) -> list[int]:
    """Indices of the frames whose pixels are looked at, in order."""
    groups: dict[tuple[Part, int], list[int]] = {}
    for index, row in enumerate(rows):
        if row.path is not None:
            groups.setdefault((row.part, row.number or 0), []).append(index)
    room, kept = _MOST_PICTURES, []
    for left, group in zip(range(len(groups), 0, -1), sorted(groups.values(), key=len), strict=True):
        share = min(len(group), room // left)
        kept += [group[i] for i in np.linspace(0, len(group) - 1, share).round().astype(int)] if share else []
        room -= share
    return sorted(kept)
