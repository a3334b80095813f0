"""The loop of the evening: look, take in, write down, show, wait."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Protocol

from polarcheck import frames, watch
from polarcheck.cli.interrupts import Interrupts
from polarcheck.cli.watch_lines import Lines
from polarcheck.errors import InputError, Notice

if TYPE_CHECKING:
    from polarcheck.frames import Problem
    from polarcheck.night import Event, NightBook
    from polarcheck.watch import Answer, Arrivals, Evening, EveningSchema, Look, StarReader, WakeUp

__all__ = ["Output", "Watching"]

_POLL_S = (0.3, 5.0)  # between looks where nothing is heard: shares and memory cards tell nothing
_POLL_SHARE = 20.0  # times that a look takes
_REST_S = (0.005, 0.1)  # between two looks at least, while a file grows


class Output(Protocol):
    """Where the evening is shown."""

    def begin(self) -> None:
        """Prepare what is drawn on."""

    def event(self, event: Event, view: EveningSchema) -> None:
        """Show an event."""

    def view(self, view: EveningSchema) -> None:
        """Show the state."""

    def look(self) -> None:
        """See whether it must be shown anew."""

    def pressed(self, key: str) -> Answer | None:
        """Take a key; return an answer if it makes one."""

    def end(self) -> None:
        """Leave everything as it was."""


@dataclass(slots=True, kw_only=True)
class Watching:
    """One evening's watch."""

    folder: Path
    arrivals: Arrivals
    evening: Evening
    book: NightBook
    output: Output = field(default_factory=lambda: Lines(False))
    until_done: bool = False
    listeners: list[Callable[[EveningSchema], None]] = field(default_factory=list)
    answers: SimpleQueue[Answer] = field(default_factory=SimpleQueue)
    keys: SimpleQueue[str] = field(default_factory=SimpleQueue)
    stars: StarReader | None = None
    solves: bool = False
    unsolved: SimpleQueue[tuple[Path, str]] = field(default_factory=SimpleQueue)
    _unwritten: list[Event] = field(default_factory=list)
    _unshown: list[Event] = field(default_factory=list)
    _trouble: tuple[Notice, ...] = ()
    _number: int = 0
    _shown: dict[str, Any] | None = None
    _wanted: Path | None = None
    _interrupts: Interrupts = field(default_factory=Interrupts)

    def run(self, wake_up: WakeUp, progress: Callable[[int, int], None] | None = None) -> None:
        """Watch until the interrupt key, or until done where that was asked for."""
        with self._interrupts.heard():
            try:
                took = self._look(is_start=True, progress=progress)
                self.output.begin()
                watch.warm_up()
                while not (self.until_done and self._is_done):
                    self._wait(wake_up, took)
                    took = self._look()
                    self.output.look()
                self._settle()
            except KeyboardInterrupt:
                self._settle(is_end=True)
                raise
            finally:
                self.output.end()

    @property
    def _is_done(self) -> bool:
        finding = self.evening.finding
        return finding is not None and finding.action == "stop" and self.evening.is_recorded

    def _wait(self, wake_up: WakeUp, took: tuple[float, float | None]) -> None:
        seconds, again = took
        time.sleep(min(max(seconds, _REST_S[0]), _REST_S[1]))
        poll = min(max(_POLL_SHARE * seconds, _POLL_S[0]), _POLL_S[1])
        due = self.evening.due_s(time.monotonic())
        wake_up.wait(min(poll, *(one for one in (again, due) if one is not None)) if again or due else poll)

    def _look(
        self, is_start: bool = False, progress: Callable[[int, int], None] | None = None
    ) -> tuple[float, float | None]:
        """Look once; return how long listing took, and after which another look is due. [s]"""
        start = time.monotonic()
        try:
            look = self.arrivals.look(progress)
            self._trouble = ()
        except InputError as error:
            if is_start:
                raise
            self._trouble = (Notice("folder", f"{error}. Looking again."),)
            look = watch.Look((), (), 0, 0, None)
        took = time.monotonic() - start if not look.frames else _REST_S[0]
        with self._interrupts.put_off():  # else what the evening tells once would be lost
            self._take_in(look, is_start)
        return took, look.again_s

    def _settle(self, is_end: bool = False) -> None:
        with self._interrupts.put_off():
            self._take(self.evening.settled(is_end))

    def _take_in(self, look: Look, is_start: bool) -> None:
        """Take in what a look found, and what came meanwhile; write down and show what follows."""
        problems = [self._waiting(problem) for problem in look.problems]
        events = self.evening.arrived(look.frames, problems, time.monotonic(), is_start)
        while not self.unsolved.empty():
            events += self.evening.told_unsolved(*self.unsolved.get())
        self._see_stars()
        for answer in self._answers():
            events += self.evening.answered(answer)
        if self.evening.due_s(time.monotonic()) == 0.0:
            events += self.evening.settled()
        self._take(events, look)

    def _waiting(self, problem: Problem) -> Problem:
        """A frame that is not solved yet waits for the solver, where one is at work."""
        if self.solves and problem.kind is frames.ProblemKind.NOT_SOLVED:
            return replace(problem, reason="waits for the solver")
        return problem

    def _see_stars(self) -> None:
        """Fetch how long stars of target frames are, and have the newest measured."""
        if self.stars is None:
            return
        for path, elongation in self.stars.found():
            self.evening.told_stars(path, elongation)
        wanted = self.evening.stars_wanted
        if wanted is not None and wanted != self._wanted:
            self._wanted = wanted
            self.stars.want(wanted)

    def _answers(self) -> Iterator[Answer]:
        """What was answered since the last look, by keys and on the page."""
        while not self.keys.empty():
            answer = self.output.pressed(self.keys.get())
            if answer is not None:
                yield answer
        while not self.answers.empty():
            yield self.answers.get()

    def _take(self, events: Sequence[Event], look: Look | None = None) -> None:
        """Write events down, and show them and what has changed; what an interrupt kept from being shown, too."""
        self._unwritten += events
        self._unshown += events
        trouble = self._write()
        view = self._view(events, look, trouble)
        has_news = bool(self._unshown)
        while self._unshown:
            self.output.event(self._unshown.pop(0), view)
        shown = view.to_dict() | {"number": 0, "time_utc": ""}
        if has_news or shown != self._shown:
            self._number, self._shown = self._number + 1, shown
            self.output.view(view)
            for listener in self.listeners:
                listener(view)

    def _write(self) -> tuple[Notice, ...]:
        """Write what is not in the night's file yet; where the disk takes no more, try again next time."""
        while self._unwritten:
            trouble = self.book.write(self._unwritten[0])
            if trouble:
                return trouble
            del self._unwritten[0]
        return ()

    def _view(self, events: Sequence[Event], look: Look | None, trouble: tuple[Notice, ...]) -> EveningSchema:
        moment = watch.Moment(
            number=self._number + 1,
            time_utc=datetime.now(UTC).isoformat(timespec="seconds")[:19] + "Z",
            folder=str(self.folder),
            growing=look.growing if look else 0,
            unsolved=look.unsolved if look else 0,
            sound=watch.sound_of(events),
            notices=(*self._trouble, *trouble),
        )
        return watch.view_of(self.evening, moment)
