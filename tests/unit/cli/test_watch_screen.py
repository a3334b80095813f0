"""The evening's screen: its strokes of the bell, how long the page's code stays, and what is typed."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.cli import watch_screen
from polarcheck.cli.watch_screen import Screen
from polarcheck.watch import Answer

ADDRESSES = ["Page: http://192.168.1.10:8017/x"] * 3
CODE = ["code"] * 17


class Clock:
    """Time that passes when somebody sleeps, and what was heard when."""

    def __init__(self) -> None:
        self.now = 1000.0
        self.strokes: list[float] = []

    def monotonic(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds

    def bell(self) -> None:
        self.strokes.append(self.now)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[Clock]:
    clock = Clock()
    monkeypatch.setattr(watch_screen, "time", clock)
    return clock


def screen(monkeypatch: pytest.MonkeyPatch, **settings: Any) -> Screen:
    """A screen on a terminal that is none."""
    made = Screen("plain", sound=True, has_keys=True, **settings)
    monkeypatch.setattr(made._live, "update", lambda *_, **__: None)
    monkeypatch.setattr(made._live, "start", lambda: setattr(made._live, "_started", True))
    monkeypatch.setattr(watch_screen.report, "screen_lines", lambda view, paper: [])
    return made


@pytest.mark.parametrize(
    ("sound", "strokes"), [(None, 0), ("nearer", 1), ("refused", 2), ("done", 3)], ids=str
)
def test_strokes_of_the_bell_are_told_apart_and_over_soon(
    monkeypatch: pytest.MonkeyPatch, clock: Clock, sound: str | None, strokes: int
) -> None:
    """Nearer than 0.15 s a terminal's strokes are one noise; the next frame waits meanwhile. Common practice, no source."""
    shown = screen(monkeypatch)
    monkeypatch.setattr(shown._console, "bell", clock.bell)
    shown.begin()
    begun = clock.now
    shown.view(SimpleNamespace(sound=sound, axis=None))  # type: ignore[arg-type]
    assert len(clock.strokes) == strokes
    assert all(after - before > 0.15 for before, after in zip(clock.strokes, clock.strokes[1:], strict=False))
    assert clock.now - begun < 0.5


@pytest.mark.parametrize(("seconds", "stays"), [(25.0, True), (35.0, False)])
def test_code_of_the_page_stays_for_half_a_minute(
    monkeypatch: pytest.MonkeyPatch, clock: Clock, seconds: float, stays: bool
) -> None:
    """As docs/watch.md has it: time to take the phone out, and no longer than until there is something to do."""
    shown = screen(monkeypatch, code=CODE, addresses=ADDRESSES)
    shown.begin()
    shown.view(SimpleNamespace(sound=None, axis=object()))  # type: ignore[arg-type]
    clock.now += seconds
    shown.look()
    assert shown.pressed("m") == (
        None if stays else Answer("made")
    )  # while the code is there, any key takes it away


def test_addresses_alone_stand_in_nobodys_way(monkeypatch: pytest.MonkeyPatch, clock: Clock) -> None:
    shown = screen(monkeypatch, addresses=ADDRESSES)
    assert shown.pressed("m") == Answer("made")


def typed(shown: Screen, keys: str) -> Answer | None:
    answers = [shown.pressed(key) for key in keys]
    return answers[-1]


def test_turns_are_typed_within_a_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """The longest that people say, mixed fractions, are 17 signs; what is more does not come onto the screen."""
    shown = screen(monkeypatch)
    assert typed(shown, "o-1 3/16,+12 15/16\r") == Answer("other", (-(1 + 3 / 16), 12 + 15 / 16))
    twenty, eight = "1.25,0.5" + "0" * 12, 12
    assert typed(shown, f"o{twenty}{'0' * 10}" + "\x7f" * eight + "5\r") == Answer("other", (1.25, 0.55))
