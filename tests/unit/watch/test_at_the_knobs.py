"""Frames that come when no knob is to be turned any more, and ones that cannot end a turn."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.frames import Frame
from polarcheck.watch import turning
from polarcheck.watch.at_the_knobs import AtTheKnobs
from polarcheck.watch.evening import Evening
from polarcheck.watch.finding import follow_latest
from tests.at_the_mount import SWEEP, AtTheMount


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
    came: Any = SimpleNamespace(stays=lambda *_: None, is_hidden=False)
    knobs._stay(finding, came, nothing, nothing)
    assert place.is_target is is_target
    assert bool(counted) is is_target


def night_that_asks_for_two_places(folder: Path) -> tuple[Evening, list[Frame]]:
    """An evening whose advice asks for frames at two places, and eight frames at the first of them."""
    folder.mkdir()
    mount = AtTheMount(folder, 3)
    evening = mount.evening()
    evening.arrived(mount.sweep(*SWEEP), [], 0.0)
    for seconds in range(1, 20):
        finding = evening.finding
        assert finding is not None
        places = finding.correction.next.frames_deg
        if finding.action == "turn":
            mount.turn(*mount.told(evening))
        if len(places) == 2:
            mount.further(places[0])
            return evening, [mount.shoot(60) for _ in range(8)]
        mount.further(places[0] if places else 0.0)
        evening.arrived([mount.shoot(60)], [], float(seconds))
    raise AssertionError("no advice asked for two places")


def test_frames_at_one_place_that_lie_there_are_followed_together_where_another_place_is_lacking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone, frames = night_that_asks_for_two_places(tmp_path / "alone")
    for seconds, frame in enumerate(frames, 100):
        alone.arrived([frame], [], float(seconds))
    together, frames = night_that_asks_for_two_places(tmp_path / "together")
    times = []

    def counted(*given: Any) -> Any:
        times.append(given)
        return follow_latest(*given)

    monkeypatch.setattr(turning, "follow_latest", counted)
    together.arrived(frames, [], 100.0)
    assert alone.followed is not None and together.followed is not None
    assert together.followed.error == alone.followed.error
    assert len(together.followed.frames) == len(alone.followed.frames) == 8
    assert len(times) == 3  # one, then two, which are enough but for the place, then all
