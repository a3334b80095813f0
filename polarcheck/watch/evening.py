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
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from polarcheck.alignment import AxisError
from polarcheck.errors import Notice, PolarcheckError
from polarcheck.followup import Followed
from polarcheck.frames import Frame, Problem, ProblemKind
from polarcheck.measurement import Measurement
from polarcheck.night import Event, NightAccount, NightBook
from polarcheck.times import seconds_between
from polarcheck.watch.answers import Answer
from polarcheck.watch.fields import Shown, shown
from polarcheck.watch.finding import Finding, Wishes, measured, rebased
from polarcheck.watch.late import LateFrames
from polarcheck.watch.places import Place, Places
from polarcheck.watch.standing import Standing
from polarcheck.watch.targets import TargetLook, look_at_target
from polarcheck.watch.turning import SAME_PLACE_DEG, Turning

__all__ = ["Evening", "LastSeen"]

_SWEEP = 3  # places at least: two always lie on some circle
_SAME_TIME_S = 0.02
_REFUSALS = 3  # of one turn that are written down; a camera that goes on would fill the file
_FEW_PLACES = 6  # of a sweep that may still be going on
_QUIET_S = (2.0, 60.0)  # without a frame, after which a finding is written down
_QUIET_GAPS = 1.5  # the same in gaps between frames
_TARGET_ELSEWHERE, _TARGET_HERE = 2, 4  # frames of one field that make it a target's

Part = Literal["sweep", "follow-up", "target", "none"]


@dataclass(frozen=True, slots=True)
class LastSeen:
    """The frame that was looked at last, and what became of it."""

    name: str
    utc: tuple[float, float] | None
    counted: bool
    part: Part
    reason: str


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

    Attributes
    ----------
    finding : Finding or None
        The last one.
    turning : Turning or None
        What came after it.
    is_recorded : bool
        Whether it was written down.
    last : LastSeen or None
        The last frame.
    refusal : str or None
        Why the last frames gave no result.
    refused, of_target : int
        Frames of no use, and of a target.
    trend : list of (time, AxisError, whether measured anew)
        Findings that were written down.
    target : TargetLook or None
        What frames of the last target show.
    notices : list of Notice
        Warnings beside those of the finding.
    """

    def __init__(self, book: NightBook, wishes: Wishes, account: NightAccount | None = None) -> None:
        self._book, self.wishes = book, wishes
        self._places, self._late = Places(), LateFrames()
        self._standing = Standing()
        self._seen: set[int] = set()
        self._events: list[Event] = []
        self._arrivals: list[float] = []
        self._counted = 0
        self._is_start = False
        self.finding: Finding | None = None
        self.turning: Turning | None = None
        self.is_recorded = True
        self.last: LastSeen | None = None
        self.refusal: str | None = None
        self.refused = self.of_target = 0
        self.trend: list[tuple[tuple[float, float], AxisError, bool]] = []
        self.target: TargetLook | None = None
        self.notices: list[Notice] = []
        if account is not None:
            self._remember(account)

    def _remember(self, account: NightAccount) -> None:
        self.trend = [(step.utc, step.error, step.is_fresh) for step in account.steps]
        self._counted = sum(step.frames for step in account.steps)
        if account.alignment is None:
            return
        self.finding = Finding.remembered(account.alignment, account.steps[-1].frames, self.wishes)
        self.is_recorded = True
        self.turning = Turning(self.finding, self.wishes, said=account.turned, written=account.turned)
        if account.steps[-1].advice is None:  # cut off between finding and advice
            self._events.append(self._book.advice(self.finding.correction))

    @property
    def followed(self) -> Followed | None:
        """What the frames after the last finding show so far."""
        return None if self.turning is None else self.turning.followed or self.turning.glimpse

    @property
    def counted(self) -> int:
        """Frames in use for the axis."""
        pending = self.finding.used if self.finding and not self.is_recorded else 0
        return self._counted + pending + (len(self.followed.frames) if self.followed else 0)

    @property
    def places(self) -> int:
        """Places of the run that the last frame ends."""
        last = self._places.last
        return 0 if last is None else len(self._places.sweep_to(last.frames[-1], self._since))

    @property
    def _since(self) -> tuple[float, float] | None:
        """Time of the last finding, before which frames belong to no new sweep."""
        return None if self.finding is None else self.finding.utc

    def due_s(self, seconds: float) -> float | None:
        """Return after which `settled` has something to say if no frame comes; None for nothing. [s]"""
        place = self._places.last
        is_untold = place is not None and place.is_target and place.count > place.told
        is_held = self.turning is not None and self.turning.held is not None
        if self.is_recorded and self.followed is None and not is_untold and not is_held:
            return None
        gaps = np.diff(self._arrivals[-6:])
        quiet = float(np.clip(_QUIET_GAPS * gaps.max() if len(gaps) else 0.0, *_QUIET_S))
        quiet = _QUIET_S[1] if is_held and self.is_recorded else quiet
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
                self.last = LastSeen(problem.name, problem.utc, False, "none", problem.reason)
                self.refused += problem.kind is ProblemKind.UNUSABLE
        self._is_start = is_start
        for frame in frames:
            self._take(frame)
        if frames or problems:
            self._arrivals = [*self._arrivals[-8:], seconds]
        if is_start and (place := self._places.last) is not None and place.is_target:
            self.target = self._look_at(place)
            place.told = place.count
        return self._spoken()

    def settled(self, is_end: bool = False) -> list[Event]:
        """Write down what stands: no frame came for a while, or the evening ends."""
        self._record()
        if self.turning is not None and self.turning.held is not None and not is_end:
            self._follow(self.turning, self.turning.held)
        if self.turning is not None and self.turning.followed is not None and not self.turning.is_moving:
            self._close_turn()
        self._tell_target(self._places.last)
        return self._spoken()

    def answered(self, answer: Answer) -> list[Event]:
        """Take what the user says of the turns since the last finding."""
        turning = self.turning
        if turning is None or not turning.take(answer):
            return []
        self._record()
        self._write_turned(turning)
        if turning.frames:
            self._follow(turning, turning.frames[-1])
        return self._spoken()

    def _spoken(self) -> list[Event]:
        events, self._events = self._events, []
        return events

    def _note(self, frame: Frame, counted: bool, part: Part, reason: str) -> None:
        self.last = LastSeen(frame.name, frame.utc, counted, part, reason)

    def _refuse(self, frame: Frame, error: PolarcheckError) -> None:
        self.refusal = str(error).split("\n")[0]
        self.refused += 1
        self._note(frame, False, "none", self.refusal)

    def _take(self, frame: Frame) -> None:
        key = hash((frame.utc, frame.sky.tobytes()))
        if key in self._seen:
            self._note(frame, False, "none", "is the same frame as one before")
            return
        self._seen.add(key)
        if self.finding is not None and seconds_between(self.finding.utc, frame.utc) <= _SAME_TIME_S:
            self._come_late(self.finding, frame)
            return
        self._late.clear()
        self._standing.add(frame, self.finding.total_arcmin / 60 if self.finding else None)
        before, place = self._places.last, self._places.add(frame)
        if before is not None and before is not place:
            self._tell_target(before)
            self._places.leave(before)
        self._sort(frame, place)

    def _sort(self, frame: Frame, place: Place) -> None:
        if self.finding is None or self.turning is None:
            self._sweep(frame)
        elif place.is_target:
            self._count_target(frame, place)
        else:
            seen = shown(self.finding.alignment, frame)
            if seen is None or self.finding.is_out_of_reach(seen):
                self._look_elsewhere(frame, place)
            else:
                self._look_at_mount(self.finding, self.turning, frame, seen)

    # sweeps

    def _sweep(self, frame: Frame) -> bool:
        """Measure the run of places that a frame ends, if it is one."""
        run = self._places.sweep_to(frame, self._since)
        if len(run) < _SWEEP:
            reason = f"place {len(run)} of a sweep: three at least, turned in right ascension only"
            self._note(frame, False, "sweep", reason)
            return False
        self._record()
        before = None if self.finding is None else self.finding.alignment
        told = None if self.turning is None else self.turning.taken
        try:
            finding = measured([one for place in run for one in place], self.wishes, before, told)
        except PolarcheckError as error:
            self._refuse(frame, error)
            return False
        if not finding.uses(frame):
            self._note(frame, False, "sweep", "does not agree with the other places of the sweep")
            return False
        self._find(finding)
        self._note(frame, True, "sweep", f"place {len(run)} of the sweep")
        return True

    def _find(self, finding: Finding) -> None:
        self.finding, self.turning = finding, Turning(finding, self.wishes)
        self.is_recorded, self.refusal = False, None

    def _record(self) -> None:
        """Write the finding and its advice down."""
        if self.is_recorded or self.finding is None:
            return
        finding, result = self.finding, self.finding.result
        is_fresh = isinstance(result, Measurement)
        if isinstance(result, Measurement):
            self._events.append(self._book.measured(result, [frame.path for frame in finding.frames]))
        self._events.append(self._book.advice(finding.correction))
        self.trend.append((finding.utc, finding.alignment.error, is_fresh))
        self._counted += finding.used
        self.is_recorded = True

    def _may_extend(self, finding: Finding, seen: Shown) -> bool:
        """Whether a frame may be a further place of the sweep."""
        if not finding.frames or abs(seen.turn_deg) < SAME_PLACE_DEG:
            return False
        if not self.is_recorded:
            return True
        asked = finding.correction.next.frames_deg
        is_asked = any(abs(seen.turn_deg - turn) < SAME_PLACE_DEG for turn in asked)
        return not seen.has_moved and not (is_asked and finding.used >= _FEW_PLACES)

    def _extend(self, old: Finding, frames: Sequence[Frame]) -> bool:
        """Measure the sweep with one more place; False where that does not agree with the others."""
        frame = frames[-1]
        try:
            finding = measured([*old.frames, *frames], self.wishes, old.before, old.told)
        except PolarcheckError:
            return False
        if not finding.uses(frame):
            return False
        if self.is_recorded:  # the same finding, better known
            self.trend.pop()
            self._counted -= old.used
        self._find(finding)
        self._note(frame, True, "sweep", f"place {finding.used} of the sweep")
        return True

    # after a finding

    def _look_at_mount(self, finding: Finding, turning: Turning, frame: Frame, seen: Shown) -> None:
        """A frame with declination and camera as they were."""
        turning.is_running = self._standing.is_running
        if turning.is_running:
            self._look_while_running(finding, turning, frame, seen)
        elif turning.frames:
            self._follow(turning, frame)
        elif self._may_extend(finding, seen) and self._extend(finding, [frame]):
            return
        elif seen.has_moved or turning.asks_for(frame, seen):
            self._record()
            self._follow(turning, frame)
        else:
            self._stay(finding, turning, frame, seen)

    def _look_while_running(self, finding: Finding, turning: Turning, frame: Frame, seen: Shown) -> None:
        """A frame of a camera that goes on all the time: it may count only where the mount stands."""
        standing = self._standing
        if not standing.is_still:
            if standing.is_slewed and not turning.is_felt and turning.asks_place(seen):
                self._record()
                self._follow(turning, frame)
                return
            if not standing.is_slewed:
                self._record()
                turning.moves(frame)
            reason = "the field moved since the frame before; it counts if the next one agrees"
            self._note(frame, False, "follow-up", reason)
            return
        new = [one for one in standing.run if seconds_between(finding.utc, one.utc) > 0]
        is_new_place = not standing.stands_since(finding.utc)
        if (
            is_new_place
            and not turning.is_felt
            and self._may_extend(finding, seen)
            and self._extend(finding, new)
        ):
            return
        if not (turning.is_felt or turning.frames or seen.has_moved or turning.asks_for(frame, seen)):
            self._stay(finding, turning, frame, seen)
            return
        self._record()
        turning.stands(new)
        self._follow(turning, frame)

    def _stay(self, finding: Finding, turning: Turning, frame: Frame, seen: Shown) -> None:
        """The axis is where it was, and no frame was asked for here."""
        turning.stays(frame, seen)
        if turning.is_unknown:
            self._record()
            self._follow(turning, frame)
            return
        place = self._places.last
        if place is not None and finding.action == "stop" and place.count >= _TARGET_HERE:
            place.is_target = True
            self._count_target(frame, place)
            return
        waits = "; no turn was made yet" if finding.action == "turn" else ""
        self._note(frame, False, "follow-up", f"shows the axis where it was{waits}")

    def _follow(self, turning: Turning, frame: Frame) -> None:
        """Look at the frames after the turn together, and close it where it is over."""
        error = turning.add(frame)
        if error is not None:
            self._refuse(frame, error)
            turning.refused += 1
            if turning.refused <= _REFUSALS:
                self._events.append(self._book.refused(self.refusal, [frame.path]))
            if len(turning.frames) >= _SWEEP:
                self._sweep(frame)
            return
        followed = turning.followed
        assert followed is not None
        self.refusal = None
        counted = any(frame is one for one in followed.frames)
        reason = f"frame {len(followed.frames)} of {turning.frames_needed} after the turn"
        self._note(frame, counted, "follow-up", reason)
        if turning.is_over:
            self._close_turn()

    def _close_turn(self) -> None:
        """The turn is over: write down what was turned, what came of it, and what to do now."""
        turning = self.turning
        assert turning is not None
        assert turning.followed is not None
        if turning.finding.action == "turn" or turning.said is not None:
            self._write_turned(turning)
        self._events.append(self._book.followed(turning.followed, [frame.path for frame in turning.frames]))
        self._find(Finding.of(turning.followed, self.wishes))
        self._record()

    def _write_turned(self, turning: Turning) -> None:
        """Write turns down; those of the file add up."""
        turned = turning.said or turning.turned
        if turned is None:
            return
        before = turning.written or (0.0, 0.0)
        more = (turned[0] - before[0], turned[1] - before[1])
        if turning.written is None or more != (0.0, 0.0):
            self._events.append(self._book.turned(more, as_told=turning.as_told and turned == turning.told))
        turning.written = turned

    # frames of other fields, and from before

    def _look_elsewhere(self, frame: Frame, place: Place) -> None:
        """A frame that cannot be of the mount as it stood."""
        if len(self._places.sweep_to(frame, self._since)) >= _SWEEP and self._sweep(frame):
            return
        place.is_target = place.count >= _TARGET_ELSEWHERE
        if place.is_target:
            self._count_target(frame, place)
        else:
            reason = "another field: declination or camera moved, or it is solved wrongly"
            self._note(frame, False, "none", reason)

    def _come_late(self, finding: Finding, frame: Frame) -> None:
        """A copy that came late; or the clock was set back."""
        seen = shown(finding.alignment, frame)
        possible = seen is not None and not finding.is_out_of_reach(seen)
        if seen is not None and possible and not self._is_start:
            is_quiet = self.turning is None or not self.turning.frames
            if is_quiet and self._may_extend(finding, seen) and self._extend(finding, [frame]):
                return
            if self._late.tell_set_back(finding.alignment, frame, seen):
                self._set_back(finding, frame)
                return
        went_on = "lay here when the watch began; the night goes on from its last finding"
        self._note(frame, False, "none", went_on if self._is_start else "was taken before the last finding")

    def _set_back(self, finding: Finding, frame: Frame) -> None:
        """Take the last finding as having been before this frame by the clock as it is now."""
        back = seconds_between(frame.utc, finding.utc) + 60.0
        self.finding = replace(finding, alignment=rebased(finding.alignment, back), frames=())
        if self.turning is not None:
            self.turning.finding = self.finding
        text = (
            f"{frame.name} was taken before the last finding by its time, but shows what came after it: the clock of "
            "the frames was set back. The axis is taken from the frames since, as their times stand."
        )
        self.notices = [*self.notices[-3:], Notice("clock-set-back", text)]
        self._late.clear()
        self._sort(frame, self._places.add(frame))

    def _count_target(self, frame: Frame, place: Place) -> None:
        self.of_target += 1
        self._note(frame, False, "target", f"frame {place.count} of a target, counted only")
        if place.is_due_for_a_look and not self._is_start:
            self.target = self._look_at(place)
        elif self.target is None or self.target.field is not place.first:
            self.target = TargetLook(place.first, place.count)
        else:
            self.target = self.target.counting(place.count)

    def _look_at(self, place: Place) -> TargetLook:
        return look_at_target(place, self.finding.alignment if self.finding else None)

    def _tell_target(self, place: Place | None) -> None:
        """Write down what frames of a target showed, once for each stay at it."""
        if place is None or not place.is_target or place.count <= place.told:
            return
        place.told = place.count
        if self._is_start:  # an evening that went on without the watch, or is told already
            return
        self.target = self._look_at(place)
        paths = [place.frames[0].path, place.frames[-1].path]
        self._events.append(self._book.checked(paths, place.count, self.target.seen_arcsec_per_min))
