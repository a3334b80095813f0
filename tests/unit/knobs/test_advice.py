"""What to do next: turn, frames first, or stop; the cases that a user at the knobs meets, decided by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from polarcheck.alignment import Alignment, AxisError
from polarcheck.axis import CameraAxis, MountLimits, Reach
from polarcheck.frames import SENSOR_WEIGHTS, Sensor
from polarcheck.knobs import Correction, Wish, correct_knobs
from polarcheck.knobs.advice import Choice, Goal, Next, advise, choose_knobs
from polarcheck.knobs.outcome import Outcome, Standing
from polarcheck.knobs.positions import Positions, next_positions
from polarcheck.knobs.response import learn_response
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement.source import given_alignment
from polarcheck.simulate import Camera, camera_directions, mount_attitudes, sensor_points
from polarcheck.site import Site
from polarcheck.sky import Sky
from tests.helpers import ARCSEC, DEG

ARCMIN = 60 * ARCSEC
NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
CAMERA = Camera(width_px=1280, height_px=960, pixel_scale_arcsec=4.8)
KNOB = KnobSpec(gain=50.0)


def standing(
    error: tuple[float, float],
    sigma_arcmin: float,
    site: Site = NORTH,
    noise_px: float = 0.2,
    angle_deg: float = 30.0,
) -> Alignment:
    """An alignment with a camera that looks 55 deg from the axis."""
    given = given_alignment(error, Sky.over(site))
    north = site.is_north
    attitude = mount_attitudes(
        given.axis, north, np.array([angle_deg]) * DEG, (35 if north else -35) * DEG, 0.3
    )
    inner = attitude[0].T @ given.axis
    across = np.eye(3) - np.outer(inner, inner)
    camera = CameraAxis(
        template=camera_directions(sensor_points(CAMERA), CAMERA),
        weights=SENSOR_WEIGHTS,
        axis=inner,
        covariance=across * (0.05 * ARCMIN) ** 2,
        attitude=attitude[0],
        noise_px=noise_px,
        roll_ratio=1.0,
        degrees_of_freedom=8,
    )
    sensor = Sensor(CAMERA.width_px, CAMERA.height_px, CAMERA.pixel_scale_arcsec, mirrored=False)
    covariance = np.eye(2) * (sigma_arcmin * ARCMIN) ** 2
    return replace(given, covariance=covariance, camera=camera, sensor=sensor)


def asked(error: tuple[float, float], sigma: float, wish: Wish = Wish(), **more: object) -> Correction:  # noqa: B008
    return correct_knobs(standing(error, sigma, **more), (KNOB, KNOB), wish)  # type: ignore[arg-type]


def test_large_error_is_turned_and_frames_follow() -> None:
    correction = asked((60.0, -40.0), 0.3)
    assert (correction.next.action, correction.next.reason) == ("turn", "turn")
    assert all(move.turns for move in correction.moves)
    assert correction.next.expected_left_arcmin == pytest.approx(
        np.hypot(0.15 * 60 * np.cos(47.3 * DEG), 0.15 * 40), rel=0.3
    )
    assert len(correction.next.frames_deg) >= 1


def test_error_as_large_as_its_sigma_asks_for_frames_and_turns_no_knob() -> None:
    """1.1 +- 1.1: today's fault was a turn that took the true error from 1.3 to 4.9."""
    correction = asked((0.8, 0.8), 0.8)
    assert (correction.next.action, correction.next.reason) == ("frames", "frames first")
    assert not correction.worth_turning
    assert len(correction.next.frames_deg) >= 2
    assert correction.next.expected_sigma_arcmin is not None
    assert correction.next.expected_sigma_arcmin < 0.3


def test_error_within_the_goal_stops() -> None:
    correction = asked((0.1, 0.2), 0.05)
    assert (correction.next.action, correction.next.reason) == ("stop", "near enough")
    assert correction.next.frames_deg == ()


@pytest.mark.parametrize(("goal", "action"), [(0.1, "turn"), (5.0, "stop")])
def test_goal_that_is_said_decides(goal: float, action: str) -> None:
    correction = asked((2.0, 2.0), 0.05, Wish(goal_arcmin=goal))
    assert correction.next.action == action
    assert (correction.goal.arcmin, correction.goal.source) == (goal, "asked")


def test_wanted_exposure_is_the_goal_and_one_that_no_axis_allows_is_said() -> None:
    allowed = asked((2.0, 2.0), 0.05, Wish(tolerance_arcmin=4.0))
    assert (allowed.next.reason, allowed.goal.source) == ("near enough", "target")
    vain = asked((2.0, 2.0), 0.05, Wish(tolerance_arcmin=0.0))
    assert vain.goal.arcmin == 0.5
    assert "no axis allows the wanted exposure" in vain.why


def test_knob_whose_move_is_not_clear_of_its_sigma_is_left_alone() -> None:
    correction = asked((30.0, 0.4), 0.3)
    altitude, azimuth = correction.moves
    assert (altitude.turns, altitude.why_idle) == (0.0, "noise")
    assert azimuth.turns


@pytest.mark.parametrize("seed", range(40))
def test_no_knob_is_ever_turned_for_less_than_its_sigma(seed: int) -> None:
    rng = np.random.default_rng(seed)
    error = tuple(rng.normal(size=2) * 10 ** rng.uniform(-1, 1))
    correction = asked(error, float(10 ** rng.uniform(-1.5, 0.5)))  # type: ignore[arg-type]
    for move in correction.moves:
        assert not move.turns or abs(move.move_arcmin) > move.sigma_arcmin


def test_wide_play_does_not_keep_a_large_error_but_a_small_one() -> None:
    """One turn of play at 50 arcmin a turn: the first turn leaves 15, and teaches where the knob stands."""
    wide = KnobSpec(gain=50.0, backlash_turns=1.0)
    assert correct_knobs(given_alignment((23.0, -12.0), Sky.over(NORTH)), (wide, wide)).worth_turning
    small = correct_knobs(given_alignment((0.0, 0.7), Sky.over(NORTH)), (wide, wide))
    assert (small.next.action, small.next.reason) == ("stop", "hand")
    assert all(move.is_idle for move in small.moves)


def test_error_without_frames_asks_for_none() -> None:
    correction = correct_knobs(given_alignment((20.0, 10.0), Sky.over(NORTH)), (KNOB, KNOB))
    assert (correction.next.action, correction.next.frames_deg) == ("turn", ())
    assert correction.next.expected_sigma_arcmin is None


@pytest.mark.parametrize("site", [NORTH, SOUTH], ids=["north", "south"])
@pytest.mark.parametrize("angle_deg", [5.0, 40.0, 75.0, -20.0, -70.0])
def test_frames_lie_above_15_deg_and_on_one_side_of_the_pier(site: Site, angle_deg: float) -> None:
    alignment = standing((0.8, 0.8), 0.8, site, angle_deg=angle_deg)
    correction = correct_knobs(alignment, (KNOB, KNOB))
    turns = np.array(correction.next.frames_deg)
    assert len(turns) >= 2
    # the axis angle grows westward; the altitude is that of the spherical triangle of pole, zenith and target
    there = (angle_deg + turns) * DEG
    latitude, declination = abs(site.latitude_deg) * DEG, 35 * DEG
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(there)
    assert np.all(np.degrees(np.arcsin(sine)) > 15)
    assert np.all(np.sign(there) * np.sign(angle_deg) >= 0)


def test_limits_of_the_rig_file_hold() -> None:
    narrow = Wish(reach=Reach(limits=MountLimits(turns=(20 * DEG, 50 * DEG))))
    turns = np.array(asked((0.8, 0.8), 0.8, narrow, angle_deg=30.0).next.frames_deg)
    assert np.all((30 + turns >= 20 - 1e-6) & (30 + turns <= 50 + 1e-6))
    assert np.ptp(turns) > 15


def lowest_deg(alignment: Alignment, turns: tuple[float, ...], angle_deg: float = 30.0) -> float:
    """Altitude of the lowest of the frames, by the triangle of pole, zenith and target."""
    latitude, there = NORTH.latitude_deg * DEG, (angle_deg + np.array(turns)) * DEG
    sine = np.sin(latitude) * np.sin(35 * DEG) + np.cos(latitude) * np.cos(35 * DEG) * np.cos(there)
    return float(np.degrees(np.arcsin(sine)).min())


def test_frames_stand_clear_of_the_lowest_altitude() -> None:
    """A mount that is not level, or some minutes later, points a degree or two elsewhere (common practice)."""
    alignment = standing((0.8, 0.8), 0.8)
    free = next_positions(alignment, Reach(), 0.1)
    assert free is not None
    low = lowest_deg(alignment, free.turns_deg)
    for above, stays in ((1.5, False), (3.0, True)):
        found = next_positions(alignment, Reach(lowest=(low - above) * DEG), 0.1)
        assert found is not None
        assert (lowest_deg(alignment, found.turns_deg) == pytest.approx(low, abs=0.1)) is stays


def test_frames_stand_on_marks_that_a_setting_circle_has() -> None:
    """Circles are marked every 5 or 10 deg (common practice, no source): fives are used, and nothing between."""
    starts = (standing((0.8, 0.8), 0.8, angle_deg=angle) for angle in (7.0, 22.0, 37.0, 52.0))
    found = [next_positions(start, Reach(), 0.05) for start in starts]
    turns = np.array([turn for positions in found if positions for turn in positions.turns_deg])
    assert np.all(turns % 5 == 0)
    assert np.any(turns % 10 != 0)


@pytest.mark.parametrize(("noise_px", "frames"), [(3.0, range(7, 11)), (0.3, range(3, 8))])
def test_frames_are_ten_at_most_and_fewer_where_more_tell_no_more(noise_px: float, frames: range) -> None:
    """Of n frames alike the next takes 1/(2n) of sigma away: 5 % after the tenth, if it is noise that they fight.

    Where noise is less than the doubt about the axis in the camera, they soon take away less.
    """
    found = next_positions(standing((0.8, 0.8), 0.8, noise_px=noise_px), Reach(), 1e-4)
    assert found is not None
    assert len(found.turns_deg) in frames


# Where the lines are drawn: outcomes of which scipy's normal distribution tells the chance, and lines of our own
# (common practice, no source), each tried on both of its sides.

GOAL = Goal(0.5, "usual")
ROOT_2 = np.sqrt(2)


def outcome(offset: float, sigma: float = 0.0, known: float = 0.0, taught: float = 0.0) -> Outcome:
    """What is left: on the mean, its sigma in each direction, and by root mean square without the axis' doubt."""
    doubts = (np.eye(2) * value**2 for value in (taught / ROOT_2, known / ROOT_2, sigma))
    return Outcome((False, True), (0.0, 0.1), (0.0, 0.1), np.array([0.0, offset]), *doubts)


def outside_by(chance: float, sigma: float = 0.02) -> float:
    """How far off an axis of that sigma is which is within 0.5 arcmin with that chance. [arcmin]"""
    return float(0.5 - sigma * norm.ppf(chance))


def hand_for(chance: float) -> float:
    """Sigma of a hand that brings an axis within 0.5 arcmin with that chance. [arcmin]"""
    return float(0.5 / norm.ppf((1 + chance) / 2))


def chosen(offset: float, hand: float, made: int = 0, sigma: float = 0.02) -> Choice:
    """Choose for an axis that is too high, where a hand at the altitude knob misses by that much. [arcmin]"""
    knob = KnobSpec(gain=5.0, gain_sigma=0.0, backlash_turns=0.0, smallest_turn=2 * hand / 5.0)
    there = Standing(np.array([0.0, offset]), np.eye(2) * sigma**2, 1.0)
    error = AxisError(0.0, offset, 0.0, offset, sigma, sigma, sigma, 0.0, 2 * sigma, 2 * sigma)
    return choose_knobs(there, error, learn_response([], knob, knob, 0.0), (knob, knob), GOAL, made)


def told(
    now: Outcome, best: Outcome, *, sigma: float = 0.02, frames: float = 9.0, needed: float = 0.05
) -> Next:
    """Decide where the frames to be had would leave a sigma of the axis, however small is asked for. [arcmin]"""
    there = Standing(now.offset, np.eye(2) * sigma**2 / 2, 1.0)
    choice = Choice(replace(now, turned=(False, False)), best, best, best, (False, True), needed)
    return advise(choice, there, GOAL, lambda _: Positions((0.0,), np.eye(2) * frames**2 / 2))


@pytest.mark.parametrize(("sigmas", "turned"), [(1.7, False), (2.4, True)])
def test_move_must_be_twice_its_sigma(sigmas: float, turned: bool) -> None:
    """Noise alone goes beyond 1.7 sigma in one of eleven measurements, beyond 2.4 in one of sixty."""
    assert chosen(4.0, 0.1, sigma=4.0 / sigmas).is_clear == (False, turned)


@pytest.mark.parametrize(("chance", "reason"), [(0.85, "hand"), (0.97, "near enough")])
def test_axis_must_be_within_the_goal_with_95_percent(chance: float, reason: str) -> None:
    there = outcome(outside_by(chance), 0.02)
    assert told(there, there).reason == reason


@pytest.mark.parametrize(("more", "turned"), [(0.035, False), (0.08, True)])
def test_turn_must_better_the_chance_by_five_in_a_hundred(more: float, turned: bool) -> None:
    """At six in ten within the goal, where a turn leaves no less on the mean."""
    choice = chosen(outside_by(0.6), hand_for(0.6 + more))
    assert choice.best.turned == (False, turned)


@pytest.mark.parametrize(
    ("before", "after", "made", "turned"),
    [
        (0.4, 0.6, 2, True),  # the third must better it by 5 in a hundred like the first
        (0.4, 0.6, 3, True),  # 15
        (0.4, 0.6, 4, False),  # 25
        (0.1, 0.6, 5, True),  # 35
        (0.1, 0.6, 6, False),  # there is no seventh
    ],
)
def test_each_further_turn_must_better_the_chance_by_more(
    before: float, after: float, made: int, turned: bool
) -> None:
    choice = chosen(outside_by(before), hand_for(after), made)
    assert choice.best.turned == (False, turned)


@pytest.mark.parametrize(("times", "turned"), [(1.6, True), (2.5, False)])
def test_bold_try_for_the_goal_may_not_leave_twice_as_much(times: float, turned: bool) -> None:
    """Just outside the goal a coarse hand hits it one time in three or four, and else makes things worse."""
    assert chosen(0.6, 0.6 * times).best.turned == (False, turned)


@pytest.mark.parametrize(("chance", "action"), [(0.4, "turn"), (0.6, "stop")])
def test_less_is_enough_only_where_the_goal_is_unlikely(chance: float, action: str) -> None:
    """A turn that leaves a fifth less, and hardly betters the chance."""
    there = outcome(outside_by(chance), 0.02)
    assert told(there, outcome(0.8 * there.left_arcmin), needed=0.7).action == action


@pytest.mark.parametrize(
    ("left", "taught", "action"),
    [(0.8, 0.8, "turn"), (0.96, 0.96, "stop"), (1.3, 0.18, "turn"), (1.3, 0.4, "stop")],
)
def test_far_from_the_goal_a_turn_leaves_a_tenth_less_or_teaches_to_leave_a_quarter(
    left: float, taught: float, action: str
) -> None:
    best = replace(outcome(0.0, taught=10 * taught), covariance=np.eye(2) * (10 * left) ** 2 / 2)
    assert told(outcome(10.0), best).action == action


@pytest.mark.parametrize(("times", "action"), [(1.2, "turn"), (2.0, "frames")])
def test_doubt_that_dominates_what_a_turn_leaves_is_taken_away_first(times: float, action: str) -> None:
    """Frames that leave a tenth of the doubt: without them a turn would leave half as much again, or twice."""
    advice = told(outcome(10.0, 1.0), outcome(0.0, 0.7, known=1.0), sigma=times, frames=0.1 * times)
    assert advice.action == action


@pytest.mark.parametrize(("leave", "action"), [(0.6, "frames"), (0.8, "turn")])
def test_frames_are_asked_for_that_take_a_third_of_the_doubt_away(leave: float, action: str) -> None:
    """Twice the frames leave seven tenths of sigma: less is not worth a walk."""
    assert (
        told(outcome(10.0, 3.0), outcome(0.0, 3.0, known=1.0), sigma=4.0, frames=4.0 * leave).action == action
    )


@pytest.mark.parametrize(("share", "action"), [(0.08, "stop"), (0.2, "frames")])
def test_axis_known_to_an_eighth_of_the_goal_is_known_well_enough(share: float, action: str) -> None:
    """That much adds less than a hundredth of the goal, independent: the root of 1 + 1/64."""
    there = outcome(0.55, 0.5 * share)
    assert told(there, outcome(0.9), sigma=0.5 * share, frames=0.1 * share).action == action


def test_frames_after_a_turn_tell_what_is_left_as_well_as_the_next_turn_goes() -> None:
    """A stated gain is in doubt by 15 %, so the next turn leaves that of what this one leaves, and no less.

    Near the pole it is an eighth of the goal, as for frames without a turn.
    """
    asked_for: list[float] = []

    def positions(arcmin: float) -> None:
        asked_for.append(arcmin)

    for left, wanted in ((20.0, 0.15 * 20.0), (0.1, 0.5 / 8)):
        now, best = outcome(100.0), outcome(0.0, left / ROOT_2, known=left)
        choice = Choice(replace(now, turned=(False, False)), best, best, best, (False, True), 0.05)
        advice = advise(choice, Standing(now.offset, np.zeros((2, 2)), 1.0), GOAL, positions)
        assert advice.action == "turn"
        assert asked_for[-1] == pytest.approx(wanted, rel=0.3)
