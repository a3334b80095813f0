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
    """Turns asked for that move the axis by `asked.move`, on a mount whose axis lies level: azimuth is on the sky."""
    told = SimpleNamespace(move=(10.0, 0.0), follows=None)
    monkeypatch.setattr("polarcheck.watch.turning.told_by", lambda _: TOLD)
    monkeypatch.setattr("polarcheck.watch.turning.expected_move", lambda *_: told.move)
    monkeypatch.setattr("polarcheck.watch.turning.follow_latest", lambda *_, **__: told.follows)
    monkeypatch.setattr("polarcheck.watch.turning.shown", lambda *_: seen(noise=0.2))
    return told


def turning(**given: Any) -> Turning:
    advice = SimpleNamespace(action="turn", frames_deg=(0.0,))
    finding: Any = SimpleNamespace(
        utc=FOUND,
        action="turn",
        alignment=SimpleNamespace(axis=np.array([0.0, 1.0, 0.0])),
        correction=SimpleNamespace(next=advice),
    )
    return Turning(finding, SimpleNamespace(rig=None), **given)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("move", "moved", "over"),
    [
        ((10.0, 0.0), (14.5, 0.0), True),
        ((10.0, 0.0), (15.5, 0.0), False),
        ((10.0, 0.0), (10.0, 1.3), True),
        ((10.0, 0.0), (10.0, 1.7), False),
    ],
)
def test_what_went_as_told_need_not_rest(
    asked: Any, move: tuple[float, float], moved: tuple[float, float], over: bool
) -> None:
    """Within 1.5 arcmin and 35 % of the move: 5 arcmin of 10."""
    asked.move = move
    frames = [frame(60.0), frame(65.0)]
    one = turning(frames=frames, followed=followed(moved, *frames), unmoved=1, turned=TOLD)
    assert one.is_over is over


@pytest.mark.parametrize(("apart_s", "over"), [(25.0, False), (35.0, True)])
def test_what_went_elsewhere_must_rest_for_half_a_minute(asked: Any, apart_s: float, over: bool) -> None:
    frames = [frame(60.0), frame(60.0 + apart_s)]
    one = turning(frames=frames, followed=followed((99.0, 0.0), *frames), unmoved=1, turned=TOLD)
    assert one.is_over is over


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
    ("last_s", "count", "move", "noise", "unknown"),
    [
        (130.0, 4, 0.9, 0.01, True),
        (110.0, 4, 0.9, 0.01, False),
        (130.0, 3, 0.9, 0.01, False),
        (130.0, 4, 1.1, 0.01, False),
        (130.0, 4, 3.5, 0.5, True),
        (130.0, 4, 4.5, 0.5, False),
    ],
)
def test_after_two_minutes_and_four_frames_a_turn_lost_in_the_noise_may_have_been_made(
    asked: Any, last_s: float, count: int, move: float, noise: float, unknown: bool
) -> None:
    """It stands out by 8 sigmas and 1 arcmin."""
    asked.move = (move, 0.0)
    one = turning()
    for k in range(count):
        one.stays(frame(last_s - 5 * (count - 1 - k)), seen(noise=noise))
    assert one.is_unknown is unknown


@pytest.mark.parametrize(("moved", "turned"), [(0.62, TOLD), (0.55, None)])
def test_it_counts_as_made_where_the_axis_is_clearly_nearer_to_what_was_foretold(
    asked: Any, moved: float, turned: tuple[float, float] | None
) -> None:
    """By 4 in chi squared, 2 sigmas: of a move of 1 arcmin seen to 0.2 from 0.58 arcmin on, by hand."""
    asked.move, asked.follows = (1.0, 0.0), followed((moved, 0.0), frame(130.0))
    one = turning(is_unknown=True)
    assert one.add(frame(130.0)) is None
    assert one.turned == turned


def test_the_last_dozen_frames_are_looked_at_together(asked: Any) -> None:
    """More only cost time: a turn is over after two or three (common practice, no source)."""
    asked.follows = followed((0.0, 0.0))
    one = turning()
    for k in range(15):
        one.add(frame(10.0 * k))
    assert [f.utc for f in one.frames] == [frame(10.0 * k).utc for k in range(3, 15)]
