"""Whether a turn is over, was made, or cannot be told: the limits of docs/watch.md, on frames of which little is set."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from polarcheck.times import add_seconds, utc_from_iso
from polarcheck.watch.fields import Shown
from polarcheck.watch.turning import Turning

FOUND = utc_from_iso("2026-11-14T21:00:00")
TOLD = (0.5, -0.25)


def frame(seconds: float) -> Any:
    return SimpleNamespace(utc=add_seconds(FOUND, seconds))


def seen(turn_deg: float = 0.0, noise: float = 0.01) -> Shown:
    """A frame that shows the axis where it was; noise is one sigma. [arcmin]"""
    return Shown((0.0, 0.0), 0.0, 0.1, 0.0, 0.0, np.eye(2) * noise**2, 10.0, turn_deg)


def followed(moved: tuple[float, float], *frames: Any) -> Any:
    return SimpleNamespace(frames=frames, moved_azimuth_arcmin=moved[0], moved_altitude_arcmin=moved[1])


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Turns `told` that move the axis by `move`, on a mount whose axis lies level: azimuth is on the sky."""
    given = SimpleNamespace(told=TOLD, move=(10.0, 0.0), follows=None, places=(0.0,))
    for module in ("turning", "turns_asked"):
        monkeypatch.setattr(f"polarcheck.watch.{module}.expected_move", lambda *_: given.move)
    monkeypatch.setattr("polarcheck.watch.turns_asked.told_by", lambda _: given.told)
    monkeypatch.setattr("polarcheck.watch.turning.follow_latest", lambda *_, **__: given.follows)
    monkeypatch.setattr("polarcheck.watch.turning.shown", lambda *_: seen(noise=0.2))
    return given


def turning(places: tuple[float, ...] = (0.0,), **given: Any) -> Turning:
    advice = SimpleNamespace(action="turn", frames_deg=places)
    finding: Any = SimpleNamespace(
        utc=FOUND,
        action="turn",
        alignment=SimpleNamespace(axis=np.array([0.0, 1.0, 0.0])),
        correction=SimpleNamespace(next=advice),
    )
    return Turning(finding, SimpleNamespace(rig=None), **given)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("told", "apart_s", "rests"),
    [
        ((0.5, 0.0), 15.0, True),
        ((0.5, 0.0), 25.0, False),
        ((0.5, -0.25), 55.0, True),
        ((0.5, -0.25), 65.0, False),
    ],
)
def test_an_axis_that_went_elsewhere_must_rest_while_the_camera_runs(
    asked: Any, told: tuple[float, float], apart_s: float, rests: bool
) -> None:
    """For 20 s where one knob is to be turned, for a minute where a hand goes from one to the other (common practice,
    no source).
    """
    asked.told = told
    frames = [frame(60.0), frame(60.0 + apart_s)]
    one = turning(frames=frames, followed=followed((99.0, 0.0), *frames), is_running=True, turned=told)
    assert one.is_resting is rests


@pytest.mark.parametrize(
    ("after_s", "turn_deg", "move", "counts"),
    [
        (25.0, 0.0, 14.0, True),
        (15.0, 0.0, 14.0, False),
        (25.0, 1.5, 14.0, True),
        (25.0, 2.5, 14.0, False),
        (25.0, 0.0, 16.0, False),
    ],
)
def test_a_frame_where_it_was_counts_if_play_may_have_taken_the_turn_up(
    asked: Any, after_s: float, turn_deg: float, move: float, counts: bool
) -> None:
    """Knobs take 20 s, play takes 15 arcmin, and 2 deg are one place (common practice, no source)."""
    asked.move = (move, 0.0)
    assert turning().asks_for(frame(after_s), seen(turn_deg)) is counts


@pytest.mark.parametrize(
    ("last_s", "count", "move", "is_hidden"),
    [(130.0, 4, 14.0, True), (110.0, 4, 14.0, False), (130.0, 3, 14.0, False), (130.0, 4, 16.0, False)],
)
def test_after_two_minutes_and_four_frames_a_turn_that_does_not_show_may_have_been_made(
    asked: Any, last_s: float, count: int, move: float, is_hidden: bool
) -> None:
    """Nobody takes longer for a small turn (common practice, no source)."""
    asked.move = (move, 0.0)
    one = turning()
    for k in range(count):
        one.stays(frame(last_s - 5 * (count - 1 - k)), seen(noise=0.01))
    assert one.is_hidden is is_hidden


@pytest.mark.parametrize(
    ("after_s", "move", "counts"), [(50.0, 2.0, False), (70.0, 2.0, True), (5.0, 4.0, True)]
)
def test_after_a_minute_a_frame_counts_that_need_not_show_a_small_turn(
    asked: Any, after_s: float, move: float, counts: bool
) -> None:
    """A hand that goes to the knob takes so long; a worm hides up to 3 arcmin (common practice, no source)."""
    asked.move = (move, 0.0)
    assert turning().counts(frame(after_s)) is counts


@pytest.mark.parametrize(("places", "kept"), [(1, 12), (5, 20)])
def test_the_last_dozen_frames_are_looked_at_together_or_four_of_each_place(
    asked: Any, places: int, kept: int
) -> None:
    """More only cost time: a turn is over after two or three (common practice, no source)."""
    asked.follows = followed((0.0, 0.0))
    one = turning(tuple(10.0 * k for k in range(places)))
    for k in range(45):
        one.add(frame(10.0 * k))
    assert [f.utc for f in one.frames] == [frame(10.0 * k).utc for k in range(45 - kept, 45)]
