"""Answers of the user: what cannot be meant is refused."""

from __future__ import annotations

import pytest

from polarcheck.watch.answers import Answer


def test_turns_go_with_other_alone() -> None:
    assert Answer("other", (0.5, -1.0)).turns == (0.5, -1.0)
    for kind, turns in (("other", None), ("made", (1.0, 0.0)), ("half", (1.0, 0.0)), ("never", None)):
        with pytest.raises(ValueError):
            Answer(kind, turns)  # type: ignore[arg-type]


@pytest.mark.parametrize("turns", [(float("nan"), 0.0), (0.0, float("inf")), (1e9, 0.0)])
def test_turns_that_no_hand_makes_are_refused(turns: tuple[float, float]) -> None:
    with pytest.raises(ValueError):
        Answer("other", turns)


def test_a_hundred_turns_are_the_most() -> None:
    """No knob travels so far: more is a slip of the finger (common practice, no source)."""
    assert Answer("other", (99.0, -99.0)).turns == (99.0, -99.0)
    for turns in ((101.0, 0.0), (0.0, -101.0)):
        with pytest.raises(ValueError, match="between -100 and 100"):
            Answer("other", turns)
