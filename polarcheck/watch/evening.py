"""One state of the night: frames and answers go in, events of the night's file and a view come out.

It knows no folder, no clock and no screen. Seconds are monotonic ones that the caller passes. What it takes for what:

- A run of three places or more that right ascension alone can join is a sweep, and is measured; further places join it.
- After that a frame belongs to the mount as it stood if it shows the axis where knobs reach. It shows the axis moved
  beyond its sigma: a turn was made. It does not, but was asked for: it counts all the same. When a turn is over, tells
  `turning`.
- Any other frame is of another field. Several of one field are a target's; three places of a run are a new sweep.
- A frame from before the last finding is a copy that came late, or the clock was set back: see `late`.
- A finding is written down when the next thing begins, or when no frame came for a while.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import zip_longest
from pathlib import Path

import numpy as np

from polarcheck.alignment import AxisError
from polarcheck.errors import Notice
from polarcheck.followup import Followed
from polarcheck.frames import Frame, Problem, ProblemKind
from polarcheck.night import Event, NightAccount, NightBook
from polarcheck.times import seconds_between
from polarcheck.watch.answers import Answer
from polarcheck.watch.at_the_knobs import AtTheKnobs
from polarcheck.watch.fields import shown
from polarcheck.watch.finding import Finding, Wishes, rebased
from polarcheck.watch.first_sweep import FirstSweep, Stop
from polarcheck.watch.late import LateFrames
from polarcheck.watch.places import Place, Places
from polarcheck.watch.standing import Standing
from polarcheck.watch.standpoint import LastSeen, Standpoint
from polarcheck.watch.sweeps import SWEEP, Sweeps
from polarcheck.watch.targets import TargetLook, Targets
from polarcheck.watch.turning import Turning

__all__ = ["Evening"]

_SAME_TIME_S = 0.02
_QUIET_S = (2.0, 60.0)  # without a frame, after which a finding is written down
_QUIET_GAPS = 1.5  # the same in gaps between frames
_TARGET_ELSEWHERE = 2  # frames of one field that make it a target's


class Evening:
    """The state of the night.

    Parameters
    ----------
    book : NightBook
        Makes the events; it writes none here.
    wishes : Wishes
        What is stated of the evening.
    account : NightAccount, optional
        What the night's file tells of this night so far.
    """

    def __init__(self, book: NightBook, wishes: Wishes, account: NightAccount | None = None) -> None:
        self.wishes = wishes
        self._now = Standpoint(book, wishes)
        self._places, self._late, self._standing = Places(), LateFrames(), Standing()
        self._targets = Targets(self._now)
        self._sweeps = Sweeps(self._now, self._places)
        self._first = FirstSweep(self._sweeps)
        self._knobs = AtTheKnobs(self._now, self._places, self._standing, self._sweeps, self._targets)
        self._seen: set[int] = set()
        self._arrivals: list[float] = []
        self._is_start = False
        if account is not None:
            self._now.remember(account)

    @property
    def finding(self) -> Finding | None:
        """The last one."""
        return self._now.finding

    @property
    def turning(self) -> Turning | None:
        """What came after it."""
        return self._now.turning

    @property
    def is_recorded(self) -> bool:
        """Whether it was written down."""
        return self._now.is_recorded

    @property
    def last(self) -> LastSeen | None:
        """The last frame that came."""
        return self._now.last

    @property
    def newest(self) -> LastSeen | None:
        """The one that was taken last, by its time."""
        return self._now.newest

    @property
    def refusal(self) -> str | None:
        """Why the last frames gave no result."""
        return self._now.refusal

    @property
    def refused(self) -> int:
        """Frames of no use."""
        return self._now.refused

    @property
    def of_target(self) -> int:
        """Frames of a target."""
        return self._targets.count_of_all

    @property
    def trend(self) -> list[tuple[tuple[float, float], AxisError, bool]]:
        """Findings that were written down: time, error, whether measured anew."""
        return self._now.trend

    @property
    def target(self) -> TargetLook | None:
        """What frames of the last target show."""
        return self._targets.look

    @property
    def stars_wanted(self) -> Path | None:
        """A target's frame whose stars somebody may measure meanwhile."""
        return self._targets.wanted

    @property
    def notices(self) -> list[Notice]:
        """Warnings beside those of the finding."""
        return self._now.notices

    @property
    def followed(self) -> Followed | None:
        """What the frames after the last finding show so far."""
        return None if self.turning is None else self.turning.followed or self.turning.glimpse

    @property
    def counted(self) -> int:
        """Frames in use for the axis."""
        now = self._now
        pending = now.finding.used if now.finding and not now.is_recorded else 0
        return now.counted + pending + (len(self.followed.frames) if self.followed else 0)

    @property
    def places(self) -> int:
        """Places of the run that the last frame ends."""
        last = self._places.last
        return 0 if last is None else len(self._sweeps.run_to(last.frames[-1]))

    def due_s(self, seconds: float) -> float | None:
        """Return after which `settled` has something to say if no frame comes; None for nothing. [s]"""
        place, turning = self._places.last, self._now.turning
        is_untold = place is not None and place.is_target and place.count > place.told
        is_held = turning is not None and turning.held is not None
        is_turned = turning is not None and turning.is_enough
        if not (is_untold or is_held or is_turned) and self._now.is_recorded:
            return None
        gaps = np.diff(self._arrivals[-6:])
        quiet = float(np.clip(_QUIET_GAPS * gaps.max() if len(gaps) else 0.0, *_QUIET_S))
        quiet = _QUIET_S[1] if is_held and self._now.is_recorded else quiet
        return max(self._arrivals[-1] + quiet - seconds, 0.0) if self._arrivals else 0.0

    def arrived(
        self, frames: Sequence[Frame], problems: Sequence[Problem], seconds: float, is_start: bool = False
    ) -> list[Event]:
        """Take in frames that are whole, in order of time.

        Parameters
        ----------
        frames : sequence of Frame
        problems : sequence of Problem
            Files of no use.
        seconds : float
            When, monotonic. [s]
        is_start : bool
            Whether they lay there when the watch began, so that their order tells nothing of the clock.

        Returns
        -------
        list of Event
            What is to be written into the night's file.
        """
        for problem in problems:
            if problem.utc is not None and problem.kind is ProblemKind.NOT_SOLVED:
                self._standing.note(problem.utc)
            if problem.kind is not ProblemKind.UNFINISHED:
                self._now.last = LastSeen(problem.name, problem.utc, False, "none", problem.reason)
                self._now.refused += problem.kind is ProblemKind.UNUSABLE
        self._is_start = is_start
        new = [frame for frame in frames if self._is_new(frame)]
        for frame, following in zip_longest(new, new[1:]):
            self._take(frame, following)
        if frames:
            self._now.unsolved = 0
        if frames or problems:
            self._arrivals = [*self._arrivals[-8:], seconds]
        if is_start and (place := self._places.last) is not None and place.is_target:
            self._targets.see(place)
            place.told = place.count
        return self._now.spoken()

    def settled(self, is_end: bool = False) -> list[Event]:
        """Write down what stands: no frame came for a while, or the evening ends."""
        now = self._now
        now.record()
        if now.turning is not None and now.turning.held is not None and not is_end:
            self._knobs.follow(now.turning, now.turning.held)
        if now.turning is not None and (now.turning.is_enough or (is_end and now.turning.is_answered)):
            now.close_turn()
        self._targets.tell(self._places.last)
        return now.spoken()

    def answered(self, answer: Answer) -> list[Event]:
        """Take what the user says of the turns since the last finding."""
        now, turning = self._now, self._now.turning
        if turning is None or not turning.take(answer):
            return []
        now.record()
        now.write_turned(turning)
        if turning.frames:
            self._knobs.follow(turning, turning.frames[-1])
        return now.spoken()

    def told_unsolved(self, path: Path, reason: str) -> list[Event]:
        """Take in why a solver could not solve a frame; the first ones since one was solved are written down."""
        self._now.refuse_unsolved(path, reason)
        return self._now.spoken()

    def told_stars(self, path: Path, elongation: float | None) -> None:
        """Take in how long the stars of a frame are that was wanted; another target may be on by then."""
        self._targets.see_stars(path, elongation)

    def _is_new(self, frame: Frame) -> bool:
        key = hash((frame.utc, frame.sky.tobytes()))
        if key in self._seen:
            self._now.note(frame, False, "none", "is the same frame as one before")
            return False
        self._seen.add(key)
        return True

    def _take(self, frame: Frame, following: Frame | None) -> None:
        """Take in a frame; another one may lie there, which was taken next."""
        if self.finding is not None and seconds_between(self.finding.utc, frame.utc) <= _SAME_TIME_S:
            self._come_late(self.finding, frame)
            return
        self._late.clear()
        self._standing.add(frame, self._off_deg)
        before, place = self._places.last, self._places.add(frame)
        if before is not None and before is not place:
            self._targets.tell(before, self._is_start)
            self._places.leave(before)
        self._sort(frame, place, following)

    @property
    def _off_deg(self) -> float | None:
        """How far the axis may be from the pole by now; None where nothing is known. [deg]"""
        if self.finding is None:
            return None
        seen = self.followed
        return max(self.finding.total_arcmin, seen.error.total_arcmin if seen else 0.0) / 60

    def _sort(self, frame: Frame, place: Place, following: Frame | None = None) -> None:
        if self.finding is None or self.turning is None:
            self._begin(Stop(frame, place, self._sweeps.run_to(frame)), following)
        elif place.is_target:
            self._targets.count(frame, place, self._is_start)
        else:
            seen = shown(self.finding.alignment, frame)
            if seen is None or self.finding.is_out_of_reach(seen):
                self._look_elsewhere(frame, place)
            else:
                self._knobs.look(self.finding, self.turning, frame, seen, following)

    def _begin(self, stop: Stop, following: Frame | None) -> None:
        """A frame before anything was found."""
        for one in self._first.stops_alone(stop, following):
            if self.finding is None:
                self._sweeps.measure(one.frame, one.run)
            else:
                self._sort(one.frame, one.place)

    # frames of other fields, and from before

    def _look_elsewhere(self, frame: Frame, place: Place) -> None:
        """A frame that cannot be of the mount as it stood."""
        run = self._sweeps.run_to(frame)
        if len(run) >= SWEEP and self._sweeps.measure(frame, run):
            return
        place.is_target = place.count >= _TARGET_ELSEWHERE
        if place.is_target:
            self._targets.count(frame, place, self._is_start)
        else:
            reason = "another field: declination or camera moved, or it is solved wrongly"
            self._now.note(frame, False, "none", reason)

    def _come_late(self, finding: Finding, frame: Frame) -> None:
        """A copy that came late; or the clock was set back."""
        if self._is_start:
            reason = "lay here when the watch began; the night goes on from its last finding"
            self._now.note(frame, False, "none", reason)
            return
        seen = shown(finding.alignment, frame)
        if seen is not None and not finding.is_out_of_reach(seen):
            is_quiet = self.turning is None or not self.turning.frames
            if is_quiet and self._sweeps.may_extend(finding, seen) and self._sweeps.extend(finding, [frame]):
                return
            if self._late.tell_set_back(finding.alignment, frame, seen):
                self._set_back(finding, frame)
                return
        self._now.note(frame, False, "none", "was taken before the last finding")

    def _set_back(self, finding: Finding, frame: Frame) -> None:
        """Take the last finding as having been before this frame by the clock as it is now."""
        back = seconds_between(frame.utc, finding.utc) + 60.0
        self._now.finding = replace(finding, alignment=rebased(finding.alignment, back), frames=())
        if self.turning is not None:
            self.turning.finding = self._now.finding
        text = (
            f"{frame.name} was taken before the last finding by its time, but shows what came after it: the clock of "
            "the frames was set back. The axis is taken from the frames since, as their times stand."
        )
        self._now.notices = [*self.notices[-3:], Notice("clock-set-back", text)]
        self._now.newest = None
        self._late.clear()
        self._sort(frame, self._places.add(frame))
