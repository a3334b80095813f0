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
