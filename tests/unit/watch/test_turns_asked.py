"""How much of a turn an axis shows: the limits of docs/watch.md, on a finding of which little is set."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from polarcheck.watch.fields import Shown
from polarcheck.watch.turns_asked import Turns, TurnsAsked

BOTH, ONE = (0.5, -0.25), (0.5, 0.0)


def followed(*moved: float) -> Any:
    return SimpleNamespace(moved_azimuth_arcmin=moved[0], moved_altitude_arcmin=moved[1])


def seen(noise: float) -> Shown:
    """A frame that shows the axis where it was; noise is one sigma. [arcmin]"""
    return Shown((0.0, 0.0), 0.0, 0.1, 0.0, 0.0, np.eye(2) * noise**2, 10.0, 0.0)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Turns `told` that move the axis by `move`, each knob its part, on a mount whose axis lies level."""
    given = SimpleNamespace(told=ONE, move=(10.0, 0.0))

    def expected(_: object, __: object, turns: Turns | None) -> tuple[float, float] | None:
        if turns is None:
            return None
        parts = [turns[k] / given.told[k] if given.told[k] else 0.0 for k in (0, 1)]
        return parts[0] * given.move[0], parts[1] * given.move[1]

    monkeypatch.setattr("polarcheck.watch.turns_asked.told_by", lambda _: given.told)
    monkeypatch.setattr("polarcheck.watch.turns_asked.expected_move", expected)
    finding: Any = SimpleNamespace(
        alignment=SimpleNamespace(axis=np.array([0.0, 1.0, 0.0])), correction=SimpleNamespace()
    )
    given.turns = TurnsAsked(finding, None)
    return given


@pytest.mark.parametrize(
    ("moved", "is_done"),
    [((14.5, 0.0), True), ((15.5, 0.0), False), ((10.0, 1.3), True), ((10.0, 1.7), False)],
)
def test_what_went_as_told_is_within_a_third_of_it(
    asked: Any, moved: tuple[float, float], is_done: bool
) -> None:
    """1.5 arcmin and 35 % of the move, 5 arcmin of 10: what gains of 25 % and a hand of 4 % make of it."""
    assert asked.turns.is_all_done(followed(*moved)) is is_done


@pytest.mark.parametrize(("short_arcmin", "is_done"), [(2.5, True), (2.8, False)])
def test_both_knobs_were_turned_where_that_is_twice_as_near_as_one_alone(
    asked: Any, short_arcmin: float, is_done: bool
) -> None:
    """Of 8 arcmin in altitude 8 - d are seen: twice as near to all as to none where 8 - d > 2 d, up to d = 2.67."""
    asked.told, asked.move = BOTH, (10.0, 8.0)
    assert asked.turns.is_all_done(followed(10.0, 8.0 - short_arcmin)) is is_done


@pytest.mark.parametrize(("moved", "made"), [(21.5, ONE), (22.5, None)])
def test_far_from_what_was_told_other_turns_were_made(
    asked: Any, moved: float, made: tuple[float, float] | None
) -> None:
    """Six arcmin that play takes up, and six tenths of the move for a hand that stopped early: 12 arcmin of 10."""
    assert asked.turns.made(followed(moved, 0.0)) == made


@pytest.mark.parametrize(("move", "may_be"), [(14.0, True), (16.0, False)])
def test_play_takes_up_a_quarter_of_a_degree(asked: Any, move: float, may_be: bool) -> None:
    """A quarter of a turn of 60 arcmin: common practice, no source."""
    asked.move = (move, 0.0)
    assert asked.turns.may_be_swallowed is may_be


@pytest.mark.parametrize(
    ("move", "noise", "is_lost"),
    [(0.9, 0.01, True), (1.1, 0.01, False), (3.5, 0.5, True), (4.5, 0.5, False)],
)
def test_a_turn_stands_out_by_eight_sigmas_and_an_arcmin(
    asked: Any, move: float, noise: float, is_lost: bool
) -> None:
    asked.move = (move, 0.0)
    assert asked.turns.is_lost_in_noise(seen(noise)) is is_lost


@pytest.mark.parametrize(("move", "is_small"), [(0.0, True), (2.0, True), (-4.0, False), (5.5, False)])
def test_a_field_may_hide_some_arcminutes_behind_a_worm(asked: Any, move: float, is_small: bool) -> None:
    """A worm of 15 arcsec takes a field 0.2 arcsec a second; in grips of a minute a hand moves it by no more."""
    asked.move = (move, 0.0)
    assert asked.turns.is_small is is_small
