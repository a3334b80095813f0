"""Frames from before the last finding by their time: copies that come late, or a clock that was set back."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.frames import Frame
from polarcheck.times import seconds_between
from polarcheck.watch.fields import Shown

__all__ = ["LateFrames"]

_ROW = 3  # frames in a row from before the last finding: the clock was set back
_NEAR = 6.0, 1.0  # sigmas, and arcmin, within which an axis is where it was found


class LateFrames:
    """Frames in a row that were taken before the last finding, as their times have it."""

    def __init__(self) -> None:
        self._row: list[Frame] = []

    def clear(self) -> None:
        """A frame came that was taken later: the row is broken."""
        self._row = []

    def tell_set_back(self, alignment: Alignment, frame: Frame, seen: Shown) -> bool:
        """Take in a frame; return whether the clock must have been set back.

        Parameters
        ----------
        alignment : Alignment
            The last finding.
        frame : Frame
            One that shows a possible axis.
        seen : Shown
            Where it has the axis.
        """
        self._row = [*self._row, frame][-_ROW:]
        forward = all(seconds_between(a.utc, b.utc) > 0 for a, b in pairwise(self._row))
        if not _fits_an_earlier_finding(alignment, frame, seen):
            return True
        stands_now = float(np.hypot(*seen.moved_arcmin)) < _limit(seen)
        return (
            len(self._row) == _ROW and forward and stands_now
        )  # else copies of what was before, all of them


def _fits_an_earlier_finding(alignment: Alignment, frame: Frame, seen: Shown) -> bool:
    """Whether a frame shows the axis where it was found before or after the frame's time."""
    now = alignment.steps[-1]
    later = [i for i, step in enumerate(alignment.steps) if seconds_between(frame.utc, step.utc) >= -0.1]
    for step in alignment.steps[max(later[0] - 1, 0) : later[0] + 1]:
        then = (60 * (step.azimuth_deg - now.azimuth_deg), 60 * (step.altitude_deg - now.altitude_deg))
        if float(np.hypot(*np.subtract(seen.moved_arcmin, then))) < _limit(seen):
            return True
    return False


def _limit(seen: Shown) -> float:
    return max(_NEAR[0] * seen.sigma_arcmin, _NEAR[1])
