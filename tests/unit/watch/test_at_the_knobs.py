"""Frames that come when no knob is to be turned any more."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.watch.at_the_knobs import AtTheKnobs


@pytest.mark.parametrize(("count", "is_target"), [(3, False), (4, True)])
def test_four_frames_of_one_field_after_the_end_are_a_targets(count: int, is_target: bool) -> None:
    """One to check, one more to be sure, and a third by habit: the fourth is an exposure (common practice, no source)."""
    counted: list[object] = []
    place = SimpleNamespace(count=count, is_target=False)
    now: Any = SimpleNamespace(note=lambda *_: None)
    places: Any = SimpleNamespace(last=place)
    targets: Any = SimpleNamespace(count=lambda frame, _: counted.append(frame))
    nothing: Any = SimpleNamespace()
    knobs = AtTheKnobs(now, places, nothing, nothing, targets)
    finding: Any = SimpleNamespace(action="stop")
    turning: Any = SimpleNamespace(stays=lambda *_: None, is_hidden=False)
    knobs._stay(finding, turning, nothing, nothing)
    assert place.is_target is is_target
    assert bool(counted) is is_target
