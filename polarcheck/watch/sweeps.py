"""Runs of places in right ascension: measured, and measured again with each further place."""

from __future__ import annotations

from collections.abc import Sequence

from polarcheck.errors import PolarcheckError
from polarcheck.frames import Frame
from polarcheck.watch.fields import Shown
from polarcheck.watch.finding import Finding, measured
from polarcheck.watch.places import Places
from polarcheck.watch.standpoint import Standpoint
from polarcheck.watch.turning import SAME_PLACE_DEG

__all__ = ["SWEEP", "Sweeps"]

SWEEP = 3
"""Places at least: two always lie on some circle."""

_FEW_PLACES = 6  # of a sweep that may still be going on


class Sweeps:
    """Measures what is a sweep.

    Parameters
    ----------
    now : Standpoint
        Takes what is found.
    places : Places
        Where the camera stood.
    """

    def __init__(self, now: Standpoint, places: Places) -> None:
        self._now, self._places = now, places

    def run_to(self, frame: Frame) -> list[list[Frame]]:
        """Return the run of places since the last finding that a frame ends."""
        finding = self._now.finding
        return self._places.sweep_to(frame, None if finding is None else finding.utc)

    def measure(self, frame: Frame, run: Sequence[Sequence[Frame]]) -> bool:
        """Measure the run of places that a frame ends, if it is long enough."""
        now = self._now
        if len(run) < SWEEP:
            reason = f"place {len(run)} of a sweep: three at least, turned in right ascension only"
            now.note(frame, False, "sweep", reason)
            return False
        now.record()
        before = None if now.finding is None else now.finding.alignment
        told = None if now.turning is None else now.turning.taken
        try:
            finding = measured([one for place in run for one in place], now.wishes, before, told)
        except PolarcheckError as error:
            now.refuse(frame, error)
            return False
        if not finding.uses(frame):
            now.note(frame, False, "sweep", "does not agree with the other places of the sweep")
            return False
        now.find(finding)
        now.note(frame, True, "sweep", f"place {len(run)} of the sweep")
        return True

    def may_extend(self, finding: Finding, seen: Shown) -> bool:
        """Whether a frame may be a further place of the sweep."""
        if not finding.frames or abs(seen.turn_deg) < SAME_PLACE_DEG:
            return False
        if not self._now.is_recorded:
            return True
        asked = finding.correction.next.frames_deg
        is_asked = any(abs(seen.turn_deg - turn) < SAME_PLACE_DEG for turn in asked)
        return not seen.has_moved and not (is_asked and finding.used >= _FEW_PLACES)

    def extend(self, old: Finding, frames: Sequence[Frame]) -> bool:
        """Measure the sweep with one more place; False where that does not agree with the others."""
        return self._take([*old.frames, *frames], frames[-1:], old)

    def measure_at_once(self, run: Sequence[Sequence[Frame]], further: Sequence[Frame]) -> bool:
        """Measure a run of places with further ones; False where the last of its frames and they do not all agree."""
        frames = [one for place in run for one in place]
        return self._take([*frames, *further], [frames[-1], *further])

    def _take(self, frames: Sequence[Frame], needed: Sequence[Frame], old: Finding | None = None) -> bool:
        """Measure frames; find what they show if those bear on it without which it is of no use."""
        now = self._now
        before, told = (None, None) if old is None else (old.before, old.told)
        try:
            finding = measured(frames, now.wishes, before, told)
        except PolarcheckError:
            return False
        if not all(finding.uses(frame) for frame in needed):
            return False
        if old is not None:
            now.reopen(old)
        now.find(finding)
        now.note(frames[-1], True, "sweep", f"place {self._places.count(finding.frames)} of the sweep")
        return True
