"""The loop of the evening: nothing is lost where the disk is full or the folder away, and listeners see each change."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from polarcheck.cli import watch_loop
from polarcheck.cli.watch_loop import Watching
from polarcheck.errors import InputError, Notice
from polarcheck.frames import Frame
from polarcheck.night import Event, NightBook, NightLog
from polarcheck.watch import Answer, EveningSchema, Look
from tests.at_the_mount import SWEEP, AtTheMount


class Bringing:
    """Arrivals that a test brings."""

    def __init__(self) -> None:
        self.frames: list[Frame] = []
        self.away = False

    def look(self, progress: object = None) -> Look:
        if self.away:
            raise InputError("cannot list folder 'frames': gone")
        frames, self.frames = tuple(self.frames), []
        return Look(frames, (), 0, 0, None)


class FullBook(NightBook):
    """A book whose disk is full for a while."""

    full = False

    def write(self, *events: Event) -> tuple[Notice, ...]:
        if FullBook.full:
            return (Notice("night-not-kept", "The night is not kept: no space left."),)
        return super().write(*events)


class Shown:
    """What was shown."""

    def __init__(self) -> None:
        self.events: list[str] = []
        self.views: list[EveningSchema] = []

    def event(self, event: Event, view: EveningSchema) -> None:
        self.events.append(event.event)  # type: ignore[attr-defined]

    def view(self, view: EveningSchema) -> None:
        self.views.append(view)

    def pressed(self, key: str) -> Answer | None:
        return Answer("half") if key == "h" else None


class Set:
    """A watch without a folder to follow."""

    def __init__(self, place: Path) -> None:
        self.mount, self.shown, self.arrivals = AtTheMount(place), Shown(), Bringing()
        FullBook.full = False
        book = FullBook(place, self.mount.rig)
        evening = self.mount.evening()
        self.watching = Watching(
            folder=place,
            arrivals=self.arrivals,  # type: ignore[arg-type]
            evening=evening,
            book=book,
            output=self.shown,  # type: ignore[arg-type]
        )
        self.log = NightLog(place)

    def bring(self, frames: Sequence[Frame]) -> None:
        self.arrivals.frames = list(frames)
        self.watching._look()

    def kept(self) -> list[str]:
        return [event.event for event in self.log.read().events]

    def warned(self) -> list[str]:
        return [warning.code for warning in self.shown.views[-1].warnings]


@pytest.fixture
def a_set(tmp_path: Path) -> Set:
    return Set(tmp_path)


def test_full_disk_is_told_and_what_happened_is_written_when_there_is_room(a_set: Set) -> None:
    FullBook.full = True
    a_set.bring(a_set.mount.sweep(*SWEEP))
    a_set.watching._take(a_set.watching.evening.settled())
    assert a_set.shown.events == ["measured", "advice"]
    assert a_set.kept() == []
    assert "night-not-kept" in a_set.warned()
    a_set.mount.turn(*a_set.mount.told(a_set.watching.evening))
    FullBook.full = False
    a_set.bring([a_set.mount.shoot(120)])
    assert a_set.kept() == ["measured", "advice", "turned", "followed", "advice"]
    assert "night-not-kept" not in a_set.warned()


def test_folder_that_is_away_for_a_while_is_told_and_looked_for_again(a_set: Set) -> None:
    a_set.arrivals.away = True
    a_set.watching._look()
    assert a_set.warned() == ["folder"]
    a_set.arrivals.away = False
    a_set.bring(a_set.mount.sweep(*SWEEP))
    assert "folder" not in a_set.warned()
    assert a_set.watching.evening.finding is not None


def test_listeners_see_every_change_once_and_numbers_grow(a_set: Set) -> None:
    seen: list[EveningSchema] = []
    a_set.watching.listeners.append(seen.append)
    a_set.watching._look()
    a_set.watching._look()
    assert len(seen) == 1
    a_set.bring(a_set.mount.sweep(*SWEEP))
    assert [view.number for view in seen] == sorted({view.number for view in seen})
    assert len(seen) == 2


def test_answers_come_by_key_and_from_the_page(a_set: Set) -> None:
    a_set.bring(a_set.mount.sweep(*SWEEP))
    a_set.watching.keys.put("x")
    a_set.watching.keys.put("h")
    a_set.watching._look()
    assert a_set.kept() == ["measured", "advice", "turned"]
    a_set.watching.answers.put(Answer("none"))
    a_set.watching._look()
    turned = [event.turned for event in a_set.log.read().events if event.event == "turned"]
    assert [sum(knob) for knob in zip(*turned, strict=True)] == pytest.approx([0.0, 0.0])


def test_what_an_interrupt_kept_from_being_shown_is_shown_at_the_end(
    a_set: Set, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as soon:
        soon.setattr(watch_loop.watch, "view_of", interrupted)
        with pytest.raises(KeyboardInterrupt):
            a_set.bring(a_set.mount.sweep(*SWEEP))
    a_set.watching._take(a_set.watching.evening.settled(is_end=True))
    assert a_set.kept() == a_set.shown.events == ["measured", "advice"]


class Waiting:
    """Something to wait on that only says for how long it was asked to."""

    def __init__(self) -> None:
        self.seconds = -1.0

    def wait(self, seconds: float) -> None:
        self.seconds = seconds


@pytest.mark.parametrize(
    ("look_s", "rests_s", "waits_s"),
    [
        (
            0.0,
            0.005,
            0.3,
        ),  # nothing to look at: three looks a second, and no more than 200 while a file grows
        (0.05, 0.05, 1.0),  # 500 frames on a share: looking takes a twentieth of the time
        (2.0, 0.1, 5.0),  # a slow share: still seen within 5 s, and what is heard of within a blink
    ],
    ids=["empty folder", "share", "slow share"],
)
def test_looking_takes_a_small_part_of_the_time_and_frames_are_seen_soon(
    a_set: Set, monkeypatch: pytest.MonkeyPatch, look_s: float, rests_s: float, waits_s: float
) -> None:
    """How soon is soon enough: common practice, no source."""
    slept: list[float] = []
    monkeypatch.setattr(watch_loop.time, "sleep", slept.append)
    wake_up: Any = Waiting()
    a_set.watching._wait(wake_up, (look_s, None))
    assert slept == pytest.approx([rests_s], rel=0.4)
    assert wake_up.seconds == pytest.approx(waits_s, rel=0.4)
