"""The state of the night against a mount whose axis is known: every finding is checked against the truth."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from polarcheck.frames import Frame, Problem, ProblemKind
from polarcheck.night import Event, account_of
from polarcheck.night.events import read_event
from polarcheck.times import add_seconds
from polarcheck.watch import Answer, Evening, Moment, view_of
from polarcheck.watch.evening import Evening as State
from tests.at_the_mount import SWEEP, AtTheMount

NOW = Moment(1, "2026-11-15T00:00:00Z", "frames")


class Play:
    """Feeds frames one second apart and keeps the events."""

    def __init__(self, mount: AtTheMount) -> None:
        self.mount, self.evening = mount, mount.evening()
        self.events: list[Event] = []
        self.seconds = 0.0

    def give(self, frames: Frame | Iterable[Frame], gap: float = 1.0) -> list[str]:
        got: list[Event] = []
        for frame in [frames] if isinstance(frames, Frame) else frames:
            self.seconds += gap
            got += self.evening.arrived([frame], [], self.seconds)
        self.events += got
        return [event.event for event in got]  # type: ignore[attr-defined]

    def rest(self) -> list[str]:
        got = self.evening.settled()
        self.events += got
        return [event.event for event in got]  # type: ignore[attr-defined]

    def answer(self, answer: Answer) -> list[str]:
        got = self.evening.answered(answer)
        self.events += got
        return [event.event for event in got]  # type: ignore[attr-defined]

    def swept(self) -> Play:
        self.give(self.mount.sweep(*SWEEP))
        self.rest()
        return self

    def turn_as_told(self) -> tuple[float, float]:
        turns = self.mount.told(self.evening)
        self.mount.turn(*turns)
        return turns

    def obey(self) -> None:
        """Turn as told, and take the frames that are asked for."""
        assert self.evening.finding is not None
        advice = self.evening.finding.correction.next
        if advice.action == "turn":
            self.turn_as_told()
        place = self.mount.night.stands_deg
        for turn in advice.frames_deg or (0.0,):
            self.mount.night.turn_to(place + turn)
            self.give(self.mount.shoot(60))
        self.rest()

    def require_truth(self) -> None:
        """The finding lies within five sigmas of the mount's own axis."""
        assert self.evening.finding is not None
        error = self.evening.finding.alignment.error
        off = abs(error.total_arcmin - self.mount.error_arcmin)
        assert off < 5 * max(error.total_sigma_arcmin, 0.02)


@pytest.fixture
def play(tmp_path: Path) -> Play:
    return Play(AtTheMount(tmp_path))


def action(evening: Evening) -> str:
    return view_of(evening, NOW).now.action


def test_sweep_is_measured_from_the_third_place_and_written_down_once(play: Play) -> None:
    frames = play.mount.sweep(*SWEEP)
    assert play.give(frames[:2]) == []
    assert play.evening.finding is None
    assert action(play.evening) == "frames"
    play.give(frames[2:])
    play.require_truth()
    assert play.events == []
    assert action(play.evening) == "turn"
    assert play.evening.due_s(play.seconds) == pytest.approx(2.0)
    assert play.rest() == ["measured", "advice"]
    assert play.rest() == []
    assert play.evening.counted == 4


def test_one_frame_after_a_turn_as_told_is_the_next_finding(play: Play) -> None:
    play.swept()
    turns = play.turn_as_told()
    assert play.give(play.mount.shoot(120)) == ["turned", "followed", "advice"]
    play.require_truth()
    turned = play.events[-3]
    assert turned.turned == pytest.approx(turns)  # type: ignore[attr-defined]
    assert turned.as_told  # type: ignore[attr-defined]
    assert [point.fresh for point in view_of(play.evening, NOW).trend] == [True, False]


def test_night_ends_near_the_pole_without_an_answer(play: Play) -> None:
    play.swept()
    for _ in range(12):
        if action(play.evening) == "stop":
            break
        play.obey()
        play.require_truth()
    assert action(play.evening) == "stop"
    assert play.mount.error_arcmin < 0.6


def test_frames_before_and_during_a_turn_are_no_findings(play: Play) -> None:
    play.swept()
    for _ in range(3):  # the camera takes one frame after the other
        assert play.give(play.mount.shoot(5)) == []
    azimuth, altitude = play.mount.told(play.evening)
    for _ in range(4):
        play.mount.turn(azimuth / 4, altitude / 4)
        assert play.give(play.mount.shoot(5)) == []
    assert action(play.evening) == "wait"
    assert play.give(play.mount.shoot(5)) == ["turned", "followed", "advice"]
    play.require_truth()


def test_pause_between_two_knobs_is_not_taken_for_the_end(play: Play) -> None:
    play.swept()
    play.give(play.mount.shoot(5))
    azimuth, altitude = play.mount.told(play.evening)
    play.mount.turn(0.0, altitude)
    assert play.give(play.mount.shoot(5) for _ in range(3)) == []
    play.mount.turn(azimuth, 0.0)
    assert play.give(play.mount.shoot(5) for _ in range(2)) == ["turned", "followed", "advice"]
    play.require_truth()


def test_turns_made_otherwise_are_believed_when_two_frames_agree(play: Play) -> None:
    play.swept()
    azimuth, altitude = play.mount.told(play.evening)
    play.mount.turn(-azimuth, altitude)  # the wrong way
    assert play.give(play.mount.shoot(120)) == ["refused"]
    assert view_of(play.evening, NOW).now.sentence == "Take the frame again."
    assert play.give(play.mount.shoot(30)) == ["followed", "advice"]
    play.require_truth()


@pytest.mark.parametrize(
    ("answer", "part"),
    [(Answer("half"), 0.5), (Answer("made"), 1.0), (Answer("none"), 0.0)],
)
def test_answer_says_what_was_turned(play: Play, answer: Answer, part: float) -> None:
    play.swept()
    told = play.mount.told(play.evening)
    play.mount.turn(*(part * turn for turn in told))
    assert play.answer(answer) == ["turned"]
    turned = play.events[-1]
    assert turned.turned == pytest.approx([part * turn for turn in told])  # type: ignore[attr-defined]
    assert not turned.as_told  # type: ignore[attr-defined]
    assert play.give(play.mount.shoot(120)) == ["followed", "advice"]
    play.require_truth()


def test_answers_given_again_add_up_to_the_last(play: Play) -> None:
    play.swept()
    play.answer(Answer("made"))
    play.answer(Answer("other", (0.1, -0.2)))
    turned = [event.turned for event in play.events if event.event == "turned"]  # type: ignore[attr-defined]
    assert [sum(knob) for knob in zip(*turned, strict=True)] == pytest.approx([0.1, -0.2])


def test_answer_before_any_finding_is_passed_over(play: Play) -> None:
    assert play.answer(Answer("made")) == []


def test_same_frame_twice_counts_once(play: Play) -> None:
    frames = play.mount.sweep(*SWEEP)
    play.give([*frames, frames[1]])
    assert play.evening.counted == 4
    assert play.evening.last is not None
    assert "same frame" in play.evening.last.reason


def test_frames_out_of_order_make_the_same_sweep(play: Play) -> None:
    frames = play.mount.sweep(*SWEEP)
    play.give([frames[2], frames[0], frames[3], frames[1]])
    assert play.evening.counted == 4
    play.require_truth()


def test_wrongly_solved_frame_is_no_part_of_the_sweep_nor_of_a_turn(play: Play) -> None:
    frames = play.mount.sweep(*SWEEP[:2])
    wrong = play.mount.shoot(wrong=True)
    play.give([*frames, wrong, *play.mount.sweep(*SWEEP[2:])])
    play.rest()
    play.require_truth()
    assert play.evening.counted == 4
    play.turn_as_told()
    assert "followed" not in play.give(play.mount.shoot(120, wrong=True))
    assert play.give(play.mount.shoot(60)) == ["turned", "followed", "advice"]
    play.require_truth()


def test_frames_of_a_target_are_counted_only(play: Play) -> None:
    play.swept()
    play.mount.further(-35)
    play.mount.decline(25)
    assert play.give(play.mount.shoot(60) for _ in range(8)) == []
    assert play.evening.of_target == 7  # the first may be the begin of anything
    view = view_of(play.evening, NOW)
    assert view.target is not None
    assert view.target.frames == 8
    assert view.target.seen_arcsec_per_min == pytest.approx(view.target.predicted_arcsec_per_min, abs=0.5)
    assert play.rest() == ["checked"]


def test_new_sweep_at_another_declination_goes_on_with_the_night(play: Play) -> None:
    play.swept()
    play.turn_as_told()
    play.mount.decline(20)
    places = [play.mount.night.stands_deg - turn for turn in SWEEP]
    play.give(play.mount.sweep(*places))
    play.rest()
    play.require_truth()
    assert [event.event for event in play.events].count("measured") == 2  # type: ignore[attr-defined]
    assert play.evening.finding is not None
    steps = play.evening.finding.alignment.steps
    assert len(steps) == 2
    assert steps[1].turned is not None  # the axis went where the advice should have carried it


@pytest.mark.parametrize("back", [40.0, 600.0, 3600.0])
def test_clock_set_back_after_the_sweep_stops_nothing(play: Play, back: float) -> None:
    play.swept()
    play.turn_as_told()
    play.mount.set_clock(-120 - back)
    assert play.give(play.mount.shoot(120)) == ["turned", "followed", "advice"]
    assert [warning.code for warning in view_of(play.evening, NOW).warnings][-1] == "clock-set-back"


def test_turn_that_a_clock_set_back_brings_near_the_last_frame_comes_to_an_end(tmp_path: Path) -> None:
    """Four seconds after it by the clock, as if the camera never stopped; but one short gap makes no running camera."""
    play = Play(AtTheMount(tmp_path, 2)).swept()
    play.turn_as_told()
    play.mount.set_clock(-56.0)
    assert play.give(play.mount.shoot()) == ["turned", "followed", "advice"]
    play.require_truth()


def test_late_copy_of_a_sweeps_frame_is_not_taken_for_a_turn(play: Play) -> None:
    frames = play.mount.sweep(*SWEEP)
    late = frames.pop(1)
    play.give(frames)
    play.rest()
    play.turn_as_told()
    play.give(play.mount.shoot(120))
    assert play.give(late) == []
    assert play.evening.last is not None
    assert not play.evening.last.counted
    play.require_truth()


def test_begun_again_it_goes_on_where_the_night_stood(play: Play) -> None:
    play.swept()
    play.turn_as_told()
    play.give(play.mount.shoot(120))
    lines = [event.to_json().replace("\n", "").encode() for event in play.events]
    account = account_of([read_event(line) for line in lines], play.mount.night.folder)
    again = Play(play.mount)
    again.evening = State(play.evening._now.book, play.evening.wishes, account)
    assert again.rest() == []
    assert again.evening.counted == play.evening.counted
    assert action(again.evening) == action(play.evening)
    if action(again.evening) == "turn":
        again.turn_as_told()
        assert again.evening.finding is not None
        place = play.mount.night.stands_deg
        for turn in again.evening.finding.correction.next.frames_deg:
            play.mount.night.turn_to(place + turn)
            got = again.give(play.mount.shoot(60))
        assert got == ["turned", "followed", "advice"]
        again.require_truth()


def test_problems_are_told_and_counted(play: Play) -> None:
    bad = Problem(Path("a.fits"), "a.fits", "is no FITS file", ProblemKind.UNUSABLE)
    unsolved = Problem(Path("b.fits"), "b.fits", "is not solved", ProblemKind.NOT_SOLVED)
    play.evening.arrived([], [bad, unsolved], 1.0)
    view = view_of(play.evening, NOW)
    assert view.counts.refused == 1
    assert view.last_frame is not None
    assert view.last_frame.file == "b.fits"


def test_small_turn_that_play_takes_up_does_not_stop_the_night(play: Play) -> None:
    play.swept()
    turning = play.evening.turning
    while turning is None or not (action(play.evening) == "turn" and turning.may_be_swallowed):
        play.obey()
        turning = play.evening.turning
    asked = turning.finding.correction.next.frames_deg
    play.mount.further(asked[0] if asked else 0.0)
    assert play.give(play.mount.shoot(5)) == []  # nothing was turned, or play took it up: nobody can tell
    assert play.evening.due_s(play.seconds) == pytest.approx(60.0)
    got = play.rest()
    for _ in range(2):  # one frame alone knows too little
        now = view_of(play.evening, NOW).now
        if got or now.action not in ("frames", "wait"):
            break
        play.mount.further(now.frames_deg[0] if now.frames_deg else 0.0)
        got = play.give(play.mount.shoot(60))
    assert got[:2] == ["turned", "followed"]
    play.require_truth()


def test_one_of_two_frames_is_waited_for_and_no_finding_before_the_evening_ends(tmp_path: Path) -> None:
    """One frame after a turn knows the axis to half an arcminute here: a turn on it would mostly follow noise."""
    play = Play(AtTheMount(tmp_path, 3)).swept()
    while len(view_of(play.evening, NOW).now.frames_deg) != 2:
        play.obey()
    if action(play.evening) == "turn":
        play.turn_as_told()
    places = view_of(play.evening, NOW).now.frames_deg
    play.mount.further(places[0])
    play.give(play.mount.shoot(60))
    assert play.evening.due_s(play.seconds) is None
    assert play.rest() == []
    assert view_of(play.evening, NOW).now.sentence.startswith("Frame 1 of 2.")
    kept = [event.event for event in play.evening.settled(is_end=True)]  # type: ignore[attr-defined]
    assert kept[-2:] == ["followed", "advice"]


def test_a_finding_is_written_when_no_frame_came_for_one_and_a_half_gaps(play: Play) -> None:
    """Then the sweep is over: its next frame would have come (common practice, no source)."""
    play.give(play.mount.sweep(*SWEEP), gap=10.0)
    assert play.evening.due_s(play.seconds) == pytest.approx(15.0)


def test_reason_why_a_frame_could_not_be_solved_is_shown_and_three_are_written_down(play: Play) -> None:
    for number in range(5):
        play.events += play.evening.told_unsolved(
            Path(f"\x1b[2J{number}.fits"), "shows 2 stars: clouds\u202e"
        )
    view = view_of(play.evening, NOW)
    assert view.last_frame is not None
    assert view.last_frame.reason.startswith("Not solved: shows 2 stars: clouds")
    assert "\x1b" not in view.last_frame.file
    assert "\u202e" not in view.last_frame.reason
    assert [event.event for event in play.events] == ["refused"] * 3  # type: ignore[attr-defined]
    play.give(play.mount.shoot(60))
    assert play.evening.told_unsolved(Path("a.fits"), "is blank")[0].event == "refused"  # type: ignore[attr-defined]


def test_running_camera_counts_no_frame_while_the_field_moves(play: Play) -> None:
    play.swept()
    play.give(play.mount.shoot(8) for _ in range(3))
    azimuth, altitude = play.mount.told(play.evening)
    for part in (0.3, 0.3, 0.4):
        play.mount.turn(0.0, part * altitude)
        assert play.give(play.mount.shoot(8)) == []
        assert view_of(play.evening, NOW).now.sentence == "The axis moves. Finish the turn, then hands off."
    play.give(play.mount.shoot(8) for _ in range(3))
    assert "rests for" in view_of(play.evening, NOW).now.sentence
    assert action(play.evening) == "wait"
    play.mount.turn(azimuth, 0.0)
    assert play.give(play.mount.shoot(8) for _ in range(2)) == ["turned", "followed", "advice"]
    play.require_truth()


def test_running_camera_believes_one_knob_alone_after_a_minute(play: Play) -> None:
    play.swept()
    play.give(play.mount.shoot(8) for _ in range(3))
    azimuth, _ = play.mount.told(play.evening)
    play.mount.turn(azimuth, 0.0)
    written = [play.give(play.mount.shoot(8)) for _ in range(9)]
    assert written[-1] == ["turned", "followed", "advice"]
    assert not any(written[:-1])
    assert play.events[-3].turned == pytest.approx((azimuth, 0.0))  # type: ignore[attr-defined]
    assert not play.events[-3].as_told  # type: ignore[attr-defined]
    play.require_truth()


def test_no_finding_is_written_down_within_two_seconds(play: Play) -> None:
    """A folder that is copied has its frames closer together (common practice, no source)."""
    play.give(play.mount.sweep(*SWEEP), gap=0.1)
    assert play.evening.due_s(play.seconds) == pytest.approx(2.0)


@pytest.mark.parametrize(("later_s", "is_late"), [(0.014, True), (0.03, False)])
def test_a_frame_of_the_last_ones_time_is_a_copy(play: Play, later_s: float, is_late: bool) -> None:
    """The night's file keeps times to 0.01 s, a header maybe to 0.001: the same moment twice, up to 0.015 s apart."""
    frames = play.mount.sweep(*SWEEP)
    play.give(frames)
    play.rest()
    play.give(replace(frames[-1], utc=add_seconds(frames[-1].utc, later_s)))
    assert play.evening.last is not None
    assert ("before the last finding" in str(play.evening.last.reason)) is is_late


def test_a_frame_along_the_ground_is_refused_and_spoils_nothing(tmp_path: Path) -> None:
    """At place 120 this mount's camera looks at half a degree of altitude: there refraction follows no formula."""
    play = Play(AtTheMount(tmp_path, 717))
    play.swept()
    play.turn_as_told()
    play.mount.night.turn_to(120.0)
    assert "followed" not in play.give(play.mount.shoot(120))
    last = view_of(play.evening, NOW).last_frame
    assert last is not None
    assert not last.counted
    assert "refraction is too unsure" in last.reason
    play.mount.night.turn_to(60.0)
    assert "followed" in play.give(play.mount.shoot(60))
    play.require_truth()


def test_far_from_the_pole_a_field_that_drifts_is_no_hand_on_a_knob(play: Play) -> None:
    """An advice followed twice leaves the axis degrees off: there the field drifts by most of an arcsecond a second."""
    play.swept()
    play.turn_as_told()
    play.give(play.mount.shoot(120))
    assert play.mount.error_arcmin < 30
    play.give(play.mount.shoot(12))
    play.mount.turn(4.0, 3.0)
    got = [event for _ in range(6) for event in play.give(play.mount.shoot(12))]
    assert play.mount.error_arcmin > 150
    assert "followed" in got + play.rest()
    play.require_truth()


def test_running_camera_gives_a_turn_that_no_field_shows_a_minute(play: Play) -> None:
    """Of a turn of an arcminute the stars show as little as of a worm: frames while it is made looked like after it."""
    play.swept()
    turning = play.evening.turning
    while turning is None or not (action(play.evening) == "turn" and turning.asked.is_small):
        play.obey()
        turning = play.evening.turning
    told = play.mount.told(play.evening)
    for _ in range(4):
        assert play.give(play.mount.shoot(12)) == []
        play.mount.turn(*(turns / 4 for turns in told))
    assert not turning.frames
    for _ in range(4):
        play.give(play.mount.shoot(12))
    assert turning.frames
    assert play.evening.followed is not None
    error = play.evening.followed.error
    assert abs(error.total_arcmin - play.mount.error_arcmin) < 3 * error.total_sigma_arcmin
