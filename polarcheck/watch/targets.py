"""Frames of a target while the mount tracks: counted, their drift against what the axis foretells, and their stars."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.errors import PolarcheckError
from polarcheck.frames import Frame, FrameSet
from polarcheck.outlook import check_drift
from polarcheck.watch.places import Place
from polarcheck.watch.standpoint import Standpoint

__all__ = ["TargetLook", "Targets", "look_at_target"]

_LEAST_S = 120.0  # that frames must span for a rate that means something
_STARS_KEPT = 50  # frames of a target whose stars are remembered


@dataclass(frozen=True, slots=True)
class TargetLook:
    """What frames of one field show.

    Attributes
    ----------
    field : Frame
        The first of them.
    frames : int
        How many.
    seen_arcsec_per_min, predicted_arcsec_per_min : tuple of float or None
        Drift east and north; None where not known, or a guider was at work. [arcsec/min]
    is_guided : bool
        Whether the field stood still although the axis would make it drift.
    elongation : float or None
        Median over its frames that were measured, of the stars in their middle; None where none tells.
    """

    field: Frame
    frames: int
    seen_arcsec_per_min: tuple[float, float] | None = None
    predicted_arcsec_per_min: tuple[float, float] | None = None
    is_guided: bool = False
    elongation: float | None = None


def look_at_target(place: Place, alignment: Alignment | None) -> TargetLook:
    """Compare a target's frames with the drift that the axis makes.

    Parameters
    ----------
    place : Place
    alignment : Alignment or None
        None: only counted.

    Returns
    -------
    TargetLook
    """
    plain = TargetLook(place.first, place.count)
    if alignment is None:
        return plain
    try:
        check = check_drift(alignment, FrameSet(tuple(place.frames), ()))
    except PolarcheckError:
        return plain
    if check.seconds[-1] < _LEAST_S:
        return plain
    minutes = (check.seconds - check.seconds.mean()) / 60
    seen = minutes @ check.seen_arcsec[:, :2] / (minutes @ minutes)
    drift = check.predicted
    whole = np.stack([drift.east_arcsec, drift.north_arcsec], axis=-1)
    told = minutes @ whole / (minutes @ minutes)
    return replace(
        plain,
        seen_arcsec_per_min=(float(seen[0]), float(seen[1])),
        predicted_arcsec_per_min=(float(told[0]), float(told[1])),
        is_guided=check.is_guided,
    )


class Targets:
    """Counts frames of targets, and tells once for each stay at one what they showed.

    Parameters
    ----------
    now : Standpoint
        Takes what is to be written.

    Attributes
    ----------
    count_of_all : int
        Frames of targets this night.
    wanted : pathlib.Path or None
        The last frame whose stars are not measured yet.
    """

    def __init__(self, now: Standpoint) -> None:
        self._now = now
        self._stars: deque[float] = deque(maxlen=_STARS_KEPT)
        self._paths: deque[Path] = deque(maxlen=_STARS_KEPT)
        self._look: TargetLook | None = None
        # as the last frame counted them: a look for each would cost more than the rest of counting
        self._frames = 0
        self.count_of_all = 0
        self.wanted: Path | None = None

    @property
    def look(self) -> TargetLook | None:
        """What frames of the last target show."""
        return None if self._look is None else replace(self._look, frames=self._frames)

    def count(self, frame: Frame, place: Place, is_start: bool = False) -> None:
        """Count a frame that stands at a place; `is_start`: it lay there when the watch began."""
        self.count_of_all += 1
        self._now.note(frame, False, "target", f"frame {place.count} of a target, counted only")
        if self._look is None or self._look.field is not place.first:
            self._stars.clear()
            self._paths.clear()
            self._look = TargetLook(place.first, place.count)
        self.wanted = frame.path
        self._paths.append(frame.path)
        self._frames = place.count
        if place.is_due_for_a_look and not is_start:
            self.see(place)

    def see(self, place: Place) -> None:
        """Look at a target's frames together."""
        finding = self._now.finding
        look = look_at_target(place, finding.alignment if finding else None)
        self._look, self._frames = replace(look, elongation=self._elongation), look.frames

    def see_stars(self, path: Path, elongation: float | None) -> None:
        """Take in how long the stars of a frame are; None: nobody can tell. It may be another target's."""
        if path == self.wanted:
            self.wanted = None
        if elongation is None or self._look is None or path not in self._paths:
            return
        self._stars.append(elongation)
        self._look = replace(self._look, elongation=self._elongation)

    @property
    def _elongation(self) -> float | None:
        return float(np.median(self._stars)) if self._stars else None

    def tell(self, place: Place | None, is_start: bool = False) -> None:
        """Write down what frames of a target showed, once for each stay at it."""
        if place is None or not place.is_target or place.count <= place.told:
            return
        place.told = place.count
        if is_start:  # an evening that went on without the watch, or is told already
            return
        self.see(place)
        look = self.look
        assert look is not None
        paths = [place.frames[0].path, place.frames[-1].path]
        drift, long = look.seen_arcsec_per_min, look.elongation
        self._now.events.append(self._now.book.checked(paths, place.count, drift, long))
