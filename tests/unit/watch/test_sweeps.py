"""Whether a sweep that was written down may still go on."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.watch.sweeps import Sweeps


@pytest.mark.parametrize(("used", "may_go_on"), [(5, True), (6, False)])
def test_a_sweep_of_six_frames_is_over_where_the_next_one_was_asked_for_after_a_turn(
    used: int, may_go_on: bool
) -> None:
    """Six tell the axis and which of them disagrees (common practice, no source); another frame answers the advice."""
    now: Any = SimpleNamespace(is_recorded=True)
    places: Any = SimpleNamespace()
    advice = SimpleNamespace(frames_deg=(20.0,))
    finding: Any = SimpleNamespace(frames=(1,), used=used, correction=SimpleNamespace(next=advice))
    seen: Any = SimpleNamespace(turn_deg=20.0, has_moved=False)
    assert Sweeps(now, places).may_extend(finding, seen) is may_go_on
