"""What to do now, in words: checked against where the mount of `tests.at_the_mount` truly stands."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from polarcheck.vectors import rotation_matrix
from polarcheck.watch import Evening
from polarcheck.watch.saying import now_of
from polarcheck.watch.view import NowTable
from tests.at_the_mount import SWEEP, AtTheMount


def give(evening: Evening, mount: AtTheMount, *, wrong: bool = False) -> str:
    """A frame where the mount stands, and its name."""
    frame = mount.shoot(60.0, wrong)
    evening.arrived([frame], [], float(mount.count))
    return frame.name


def asked_for_two(folder: Path) -> tuple[AtTheMount, Evening]:
    """A night that has come to where frames at two places are asked for, the mount at the last used frame's."""
    mount = AtTheMount(folder, 3)
    evening = mount.evening()
    for frame in mount.sweep(*SWEEP):
        evening.arrived([frame], [], float(mount.count))
    evening.settled()
    for _ in range(12):
        now = now_of(evening)
        if now.action == "turn":
            mount.turn(*mount.told(evening))
        if len(now.frames_deg) == 2:
            return mount, evening
        place = mount.night.stands_deg
        for turn in now.frames_deg or [0.0]:
            mount.night.turn_to(place + turn)
            give(evening, mount)
        evening.settled()
    raise AssertionError("two places are never asked for")


def altitude_deg(mount: AtTheMount, turn_deg: float) -> float:
    """Where the camera would look after a turn westward. [deg]"""
    night = mount.night
    turned = rotation_matrix(night.mount.axis, np.radians(-turn_deg if night.mount.north else turn_deg))
    return float(np.degrees(np.arcsin((turned @ night.attitude)[2, 2])))


def places_said(now: NowTable) -> list[float]:
    """The turns that the sentence names, westward. [deg]"""
    words = re.split(", then |: |\\. ", now.sentence.rstrip("."))
    turns = [re.match(r"(\d+) deg (west|east)", word) for word in words]
    stays = [0.0 for word in words if re.match(r"where .* (stands|was taken)", word)]
    return stays + [float(turn[1]) * (1 if turn[2] == "west" else -1) for turn in turns if turn]


def test_a_sweep_is_counted_place_by_place(tmp_path: Path) -> None:
    mount = AtTheMount(tmp_path)
    evening = mount.evening()
    assert "three places or more" in now_of(evening).sentence
    mount.night.turn_to(0.0)
    give(evening, mount)
    give(evening, mount)  # two of one place
    assert now_of(evening).sentence.startswith("1 of 3 places")
    mount.night.turn_to(25.0)
    give(evening, mount)
    assert now_of(evening).sentence.startswith("2 of 3 places")


def test_places_in_words_are_those_in_figures_and_count_from_here(tmp_path: Path) -> None:
    _, evening = asked_for_two(tmp_path)
    now = now_of(evening)
    assert now.frames_from is None
    assert sorted(places_said(now)) == pytest.approx(sorted(now.frames_deg), abs=0.5)
    assert now.sentence.endswith("of here.")
    assert now.places in now.sentence


def test_after_a_frame_of_no_use_elsewhere_places_count_from_the_last_used_one_by_name(
    tmp_path: Path,
) -> None:
    """The mount went on by 30 deg for a frame that is solved wrongly: "of here" would lead past what is meant."""
    mount, evening = asked_for_two(tmp_path)
    used = f"frame_{mount.count:03d}.fits"
    stood, before = mount.night.stands_deg, now_of(evening)
    mount.night.turn_to(stood + 30.0)
    give(evening, mount, wrong=True)
    now = now_of(evening)
    assert now.frames_from == used
    assert f"where {used} was taken" in now.sentence
    assert " here" not in now.sentence
    assert sorted(places_said(now)) == pytest.approx(sorted(before.frames_deg), abs=0.5)


def test_the_second_place_counts_from_the_first_ones_frame(tmp_path: Path) -> None:
    mount, evening = asked_for_two(tmp_path)
    stood, (first, second) = mount.night.stands_deg, now_of(evening).frames_deg
    mount.night.turn_to(stood + first)
    name = give(evening, mount)
    now = now_of(evening)
    assert now.sentence.startswith("Frame 1 of 2.")
    assert now.frames_deg == pytest.approx([second - first], abs=0.5)
    assert now.frames_from is None
    mount.night.turn_to(stood + first + 40.0)
    give(evening, mount, wrong=True)
    now = now_of(evening)
    assert now.frames_from == name
    assert now.sentence.startswith("Frame 1")
    assert now.frames_deg == pytest.approx([second - first], abs=0.5)


def test_here_is_where_the_newest_frame_was_taken_though_an_older_one_came_last(tmp_path: Path) -> None:
    """The first frame's copy comes late, after the second one that is solved wrongly: the mount stands at its place."""
    mount, evening = asked_for_two(tmp_path)
    stood, (first, second) = mount.night.stands_deg, now_of(evening).frames_deg
    mount.night.turn_to(stood + first)
    late = mount.shoot(60.0)
    mount.night.turn_to(stood + second)
    give(evening, mount, wrong=True)
    evening.arrived([late], [], float(mount.count))
    now = now_of(evening)
    assert now.frames_from == late.name
    assert now.frames_deg == pytest.approx([second - first], abs=0.5)


def test_after_a_frame_of_no_use_the_places_are_asked_for_again_with_the_reason(tmp_path: Path) -> None:
    """Along the ground, where the user turned the wrong way: to take it again there would never help."""
    mount, evening = asked_for_two(tmp_path)
    used = f"frame_{mount.count:03d}.fits"
    asked = now_of(evening).frames_deg
    turns = np.arange(0.0, 360.0)
    heights = np.array([altitude_deg(mount, turn) for turn in turns])
    mount.night.turn_to(mount.night.stands_deg + turns[np.argmin(abs(heights - 3.0))])
    give(evening, mount)
    now = now_of(evening)
    assert now.sentence.startswith("That frame was of no use.")
    assert "refraction" in now.why
    assert now.frames_from == used
    assert sorted(now.frames_deg) == pytest.approx(sorted(asked), abs=0.5)
