"""Where the night stands: the last finding, what came after it, and what is to be written of both."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from polarcheck.alignment import AxisError
from polarcheck.errors import Notice, PolarcheckError
from polarcheck.frames import Frame
from polarcheck.measurement import Measurement
from polarcheck.night import Event, NightAccount, NightBook
from polarcheck.printable import printable
from polarcheck.watch.finding import Finding, Wishes
from polarcheck.watch.turning import Turning

__all__ = ["LastSeen", "Part", "Standpoint"]

_REFUSALS = 3  # of one turn that are written down; a camera that goes on would fill the file

Part = Literal["sweep", "follow-up", "target", "none"]


@dataclass(frozen=True, slots=True)
class LastSeen:
    """The frame that was looked at last, and what became of it."""

    name: str
    utc: tuple[float, float] | None
    counted: bool
    part: Part
    reason: str


class Standpoint:
    """What is known by now, and the events that tell of it.

    Parameters
    ----------
    book : NightBook
        Makes the events; it writes none here.
    wishes : Wishes
        What is stated of the evening.

    Attributes
    ----------
    finding : Finding or None
        The last one.
    turning : Turning or None
        What came after it.
    is_recorded : bool
        Whether it was written down.
    events : list of Event
        To be written.
    trend : list of (time, AxisError, whether measured anew)
        Findings that were written down.
    counted : int
        Frames that these rest on.
    last : LastSeen or None
        The last frame that came.
    newest : LastSeen or None
        The one that was taken last, by its time; copies may come late.
    refusal : str or None
        Why the last frames gave no result.
    refused : int
        Frames of no use.
    unsolved : int
        Frames that a solver could not solve, since one was solved.
    notices : list of Notice
        Warnings beside those of the finding.
    """

    def __init__(self, book: NightBook, wishes: Wishes) -> None:
        self.book, self.wishes = book, wishes
        self.finding: Finding | None = None
        self.turning: Turning | None = None
        self.is_recorded = True
        self.events: list[Event] = []
        self.trend: list[tuple[tuple[float, float], AxisError, bool]] = []
        self.counted = self.refused = self.unsolved = 0
        self.last: LastSeen | None = None
        self.newest: LastSeen | None = None
        self.refusal: str | None = None
        self.notices: list[Notice] = []

    def remember(self, account: NightAccount) -> None:
        """Begin where the night's file leaves off."""
        self.trend = [(step.utc, step.error, step.is_fresh) for step in account.steps]
        self.counted = sum(step.frames for step in account.steps)
        if account.alignment is None:
            return
        self.finding = Finding.remembered(account.alignment, account.steps[-1].frames, self.wishes)
        self.turning = Turning(self.finding, self.wishes, said=account.turned, written=account.turned)
        if account.steps[-1].advice is None:  # cut off between finding and advice
            self.events.append(self.book.advice(self.finding.correction))

    def spoken(self) -> list[Event]:
        """Return what is to be written, once."""
        events, self.events = self.events, []
        return events

    def note(self, frame: Frame, counted: bool, part: Part, reason: str) -> None:
        """Say what became of a frame."""
        self.last = LastSeen(frame.name, frame.utc, counted, part, reason)
        before = self.newest.utc if self.newest is not None else None
        if before is None or sum(frame.utc) >= sum(before):
            self.newest = self.last

    def refuse(self, frame: Frame, error: PolarcheckError) -> None:
        """Say that a frame gave no result."""
        self.refusal = str(error).split("\n")[0]
        self.refused += 1
        self.note(frame, False, "none", self.refusal)

    def refuse_unsolved(self, path: Path, reason: str) -> None:
        """Say why a frame could not be solved."""
        self.last = LastSeen(printable(path.name), None, False, "none", f"not solved: {reason}")
        self.unsolved += 1
        if self.unsolved <= _REFUSALS:
            self.events.append(self.book.refused(f"not solved: {reason}", [path]))

    def find(self, finding: Finding) -> None:
        """Take a finding, which may be better known soon."""
        self.finding, self.turning = finding, Turning(finding, self.wishes)
        self.is_recorded, self.refusal = False, None

    def record(self) -> None:
        """Write the finding and its advice down."""
        if self.is_recorded or self.finding is None:
            return
        finding, result = self.finding, self.finding.result
        is_fresh = isinstance(result, Measurement)
        if isinstance(result, Measurement):
            self.events.append(self.book.measured(result, [frame.path for frame in finding.frames]))
        self.events.append(self.book.advice(finding.correction))
        self.trend.append((finding.utc, finding.alignment.error, is_fresh))
        self.counted += finding.used
        self.is_recorded = True

    def reopen(self, old: Finding) -> None:
        """A finding that was written down is better known now: it counts once."""
        if self.is_recorded:
            self.trend.pop()
            self.counted -= old.used

    def follow(self, turning: Turning, frame: Frame) -> bool:
        """Look at the frames after the turn together, and close it where it is over; False where they give nothing."""
        error = turning.add(frame)
        if error is not None:
            self.refuse(frame, error)
            turning.refused += 1
            if turning.refused <= _REFUSALS:
                self.events.append(self.book.refused(self.refusal, [frame.path]))
            return False
        followed = turning.followed
        assert followed is not None
        self.refusal = None
        counted = any(frame is one for one in followed.frames)
        self.note(frame, counted, "follow-up", _of_turn(len(followed.frames), turning))
        is_over = turning.is_over
        turning.waits_for_a_place = turning.is_enough and not (is_over or turning.is_resting)
        if is_over:
            self.close_turn()
        return True

    def close_turn(self) -> None:
        """The turn is over: write down what was turned, what came of it, and what to do now."""
        turning = self.turning
        assert turning is not None
        assert turning.followed is not None
        if turning.finding.action == "turn" or turning.said is not None:
            self.write_turned(turning)
        self.events.append(self.book.followed(turning.followed, [frame.path for frame in turning.frames]))
        self.find(Finding.of(turning.followed, self.wishes))
        self.record()

    def write_turned(self, turning: Turning) -> None:
        """Write turns down; those of the file add up."""
        turned = turning.said or turning.turned
        if turned is None:
            return
        before = turning.written or (0.0, 0.0)
        more = (turned[0] - before[0], turned[1] - before[1])
        if turning.written is None or more != (0.0, 0.0):
            as_told = turning.as_told and turned == turning.told
            self.events.append(self.book.turned(more, as_told=as_told))
        turning.written = turned


def _of_turn(count: int, turning: Turning) -> str:
    needed = turning.frames_needed
    return f"frame {count} of {needed} after the turn" if count <= needed else f"frame {count} after the turn"
