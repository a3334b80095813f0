"""A sweep whose places lie there together ends as the one whose frames came one by one, and is measured once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from polarcheck.alignment import AxisError
from polarcheck.frames import Frame
from polarcheck.watch import sweeps
from polarcheck.watch.evening import Evening
from tests.at_the_mount import AtTheMount

FIVE = (0.0, 20.0, 40.0, 60.0, 75.0)


class Counted:
    """Counts how often something is measured."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.times, self._measured = 0, sweeps.measured
        monkeypatch.setattr(sweeps, "measured", self)

    def __call__(self, *given: object) -> object:
        self.times += 1
        return self._measured(*given)  # type: ignore[arg-type]


@pytest.fixture
def mount(tmp_path: Path) -> AtTheMount:
    return AtTheMount(tmp_path)


def one_by_one(mount: AtTheMount, frames: Sequence[Frame]) -> Evening:
    evening = mount.evening()
    for seconds, frame in enumerate(frames):
        evening.arrived([frame], [], float(seconds))
    return evening


def together(mount: AtTheMount, frames: Sequence[Frame]) -> Evening:
    evening = mount.evening()
    evening.arrived(frames, [], 0.0, is_start=True)
    return evening


def stand(evening: Evening) -> tuple[AxisError, list[str], int, int, str]:
    """Where the night stands: the axis, frames in use, how many of them, refused ones, what became of the last."""
    assert evening.finding is not None
    assert evening.last is not None
    frames = [frame.name for frame in evening.finding.frames]
    return (
        evening.finding.alignment.error,
        frames,
        evening.counted,
        evening.refused,
        evening.last.reason,
    )


@pytest.mark.parametrize("places", [3, 5, 8])
def test_places_that_lie_there_are_measured_once(
    mount: AtTheMount, places: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    frames = mount.sweep(*(15.0 * number for number in range(places)))
    expected = stand(one_by_one(mount, frames))
    counted = Counted(monkeypatch)
    assert stand(together(mount, frames)) == expected
    assert expected[1:4] == ([frame.name for frame in frames], places, 0)
    assert counted.times == 1


def test_frames_of_a_target_after_the_sweep_are_of_a_target(mount: AtTheMount) -> None:
    frames = mount.sweep(*FIVE)
    mount.decline(20)
    frames += [mount.shoot(20) for _ in range(10)]
    evening = together(mount, frames)
    assert stand(evening) == stand(one_by_one(mount, frames))
    assert evening.of_target == 9  # the first may be the begin of anything


@pytest.mark.parametrize("wrong", [2, 3, 4])
def test_a_wrongly_solved_frame_is_left_out_all_the_same(mount: AtTheMount, wrong: int) -> None:
    frames = []
    for number, turn in enumerate(FIVE):
        mount.night.turn_to(turn)
        frames.append(mount.shoot(wrong=number == wrong))
    evening = together(mount, frames)
    assert stand(evening) == stand(one_by_one(mount, frames))
    assert evening.counted == 4


def test_a_place_that_does_not_agree_spoils_nothing(mount: AtTheMount) -> None:
    """Declination slipped by a degree before the fifth place: right ascension may still have made that turn."""
    frames = mount.sweep(*FIVE[:4])
    mount.decline(1.0)
    frames += mount.sweep(FIVE[4])
    evening = together(mount, frames)
    assert stand(evening) == stand(one_by_one(mount, frames))
    assert evening.counted == 4


def test_a_turn_that_was_made_before_the_watch_began_is_followed(mount: AtTheMount) -> None:
    frames = mount.sweep(*FIVE)
    mount.turn(*mount.told(one_by_one(mount, frames)))
    frames.append(mount.shoot(120))
    events = mount.evening().arrived(frames, [], 0.0, is_start=True)
    assert [event.event for event in events] == ["measured", "advice", "turned", "followed", "advice"]  # type: ignore[attr-defined]


def test_a_copy_of_what_came_before_ends_no_sweep_and_hides_none(mount: AtTheMount) -> None:
    """The fourth place came first; of the frames that then lie there the last is the same as that one."""
    frames = mount.sweep(*FIVE[:4])
    evening = mount.evening()
    evening.arrived([frames[3]], [], 0.0)
    evening.arrived(frames, [], 1.0)
    assert evening.finding is not None
    assert evening.counted == 4
