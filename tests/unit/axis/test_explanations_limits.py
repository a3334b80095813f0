"""Which explanations are proposed, and which of them is taken: the limits, on mounts without noise."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.axis import proposals, robust
from polarcheck.axis.attitudes import Attitudes, camera_attitudes
from polarcheck.axis.consensus import Consensus, scatter
from polarcheck.axis.explanations import is_clean, most_probable
from polarcheck.axis.least_squares import solve_axis
from polarcheck.errors import GeometryError
from polarcheck.vectors import tangent_basis
from tests.helpers import DEG, Array
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, camera_at, noisy, seen_by, turned

CAMERA = camera_at(AXIS, 40.0)


def attitudes_of(rotations: Rotation) -> Attitudes:
    count = len(rotations)
    return camera_attitudes(seen_by(rotations), WEIGHTS, np.zeros(count, dtype=int), np.full(count, NOISE))


def sweep(count: int, arc_deg: float = 80.0) -> Rotation:
    return turned(AXIS, np.linspace(-arc_deg / 2, arc_deg / 2, count), CAMERA)


def context(rotations: Rotation, pole: Array = POLE) -> Any:
    attitudes = attitudes_of(rotations)
    return robust.Context(attitudes, robust.trial_axes(attitudes, pole), pole, 1.0)


def explanation(count: int = 6, off_sigmas: float = 0.0) -> Consensus:
    """All frames as one; or the same with an axis so many standard errors away."""
    attitudes = attitudes_of(sweep(count))
    used, groups = np.ones(count, dtype=bool), np.zeros(count, dtype=int)
    solution = solve_axis(attitudes, groups, used, POLE)
    across = np.linalg.eigh(solution.information)[1][:, 0]
    step = off_sigmas * across / np.sqrt(across @ solution.information @ across)
    axis = solution.axis + tangent_basis(solution.axis) @ step
    return Consensus(replace(solution, axis=axis / np.linalg.norm(axis)), groups, used, 1.0)


@pytest.mark.parametrize(("arc_deg", "enough"), [(0.2, False), (0.3, True)])
def test_a_quarter_of_a_degree_is_a_turn(arc_deg: float, enough: bool) -> None:
    """Less is backlash or a dither (common practice, no source)."""
    if enough:
        assert len(context(sweep(2, arc_deg)).trials)
    else:
        with pytest.raises(GeometryError, match="turn by only"):
            context(sweep(2, arc_deg))


@pytest.mark.parametrize(("off_deg", "polar"), [(19.0, True), (21.0, False)])
def test_an_axis_over_twenty_degrees_from_the_pole_is_none(off_deg: float, polar: bool) -> None:
    """A mount turned north by a compass that iron misleads is nearer (common practice, no source)."""
    across = np.cross(AXIS, [0.0, 0.0, 1.0])
    pole = Rotation.from_rotvec(off_deg * DEG * across / np.linalg.norm(across)).apply(AXIS)
    if polar:
        assert len(context(sweep(3), pole).trials)
    else:
        with pytest.raises(GeometryError, match="within 20 deg"):
            context(sweep(3), pole)


def test_of_up_to_eight_frames_every_majority_is_tried() -> None:
    """Three in five at least: C(5, 4) + C(5, 3) of five frames; of nine there are too many to wait for."""
    few = list(proposals.few_left_out(context(sweep(5))))
    assert len(few) == 5 + 10
    assert min(int(one.used.sum()) for one in few) == 3
    assert next(proposals.few_left_out(context(sweep(8))), None) is not None
    assert next(proposals.few_left_out(context(sweep(9))), None) is None


@pytest.mark.parametrize(
    ("chances", "chosen"),
    [
        ((0.12, 0.88), 0),
        ((0.08, 0.92), 1),
        ((0.008, 0.85, 0.142), 1),
        ((0.012, 0.85, 0.138), 0),
    ],
)
def test_all_frames_stay_unless_another_explanation_is_decided_or_they_are_excluded(
    chances: tuple[float, ...], chosen: int
) -> None:
    """Decided: 9 in 10. Excluded: 1 in 100 (common practice, no source)."""
    options = [explanation(off_sigmas=10.0 * k) for k in range(len(chances))]
    found = most_probable(options, np.array(chances))
    assert found.axis == pytest.approx(options[chosen].axis, abs=1e-15)


@pytest.mark.parametrize(("chance", "believed"), [(0.93, False), (0.97, True)])
def test_a_pair_of_frames_is_believed_where_it_is_all_but_certain(chance: float, believed: bool) -> None:
    """It leaves no residuals that could speak against it: 19 in 20 (common practice, no source)."""
    pair = explanation(2, 10.0)
    assert pair.degrees_of_freedom <= 0
    found = most_probable([explanation(), pair], np.array([1 - chance, chance]))
    assert (len(found.used) == 2) is believed


@pytest.mark.parametrize(
    ("chance", "off_sigmas", "counted"),
    [(0.0012, 10.0, True), (0.0008, 10.0, False), (0.01, 2.2, True), (0.01, 1.8, False)],
)
def test_a_rival_counts_from_a_chance_of_one_in_a_thousand_and_two_sigmas_away(
    chance: float, off_sigmas: float, counted: bool
) -> None:
    options = [explanation(), explanation(off_sigmas=off_sigmas)]
    found = most_probable(options, np.array([1 - chance, chance]))
    assert [c for c, _ in found.rivals] == ([chance] if counted else [])


def test_sixty_trial_axes_come_from_turns_between_forty_frames_the_longest_half_among_them() -> None:
    """Of a thousand frames the pairs would be half a million; 40 make 780."""
    rotations = noisy(sweep(100), 2)
    some = rotations[np.linspace(0, 99, 40).astype(int)]
    pairs = [(some[j] * some[i].inv()).as_rotvec() for i in range(40) for j in range(i + 1, 40)]
    pairs.sort(key=lambda turn: -float(np.linalg.norm(turn)))
    axes = np.array([turn / np.linalg.norm(turn) for turn in pairs])
    found = context(rotations).trials
    assert len(found) == 60
    alike = np.abs(found @ axes.T) > 1 - 1e-14  # either end
    assert alike.any(axis=1).all()
    assert alike[:, :30].any(axis=0).all()


@pytest.mark.parametrize(("count", "moments"), [(500, 40), (501, 0)])
def test_of_up_to_five_hundred_frames_forty_moments_of_change_are_tried(count: int, moments: int) -> None:
    """More frames are a night's, where a change among them is parted by its places."""
    ways = list(proposals.groupings(context(sweep(count))))
    by_moment = [groups for groups in ways if len(np.unique(groups)) > 1]
    assert len(by_moment) == moments


@pytest.mark.parametrize(("apart_deg", "groups"), [(0.5, 1), (0.7, 2)])
def test_places_in_the_camera_six_tenths_of_a_degree_apart_are_two(apart_deg: float, groups: int) -> None:
    """Pixels of a declination that slips show as more; solutions scatter by far less (common practice, no source)."""
    there = camera_at(AXIS, 40.0 + apart_deg)
    both = Rotation.concatenate([turned(AXIS, [-30.0, 0.0], CAMERA), turned(AXIS, [10.0, 30.0], there)])
    assert len(np.unique(proposals.by_place(attitudes_of(both), AXIS))) == groups


@pytest.mark.parametrize(("count", "found"), [(2, False), (3, True)])
def test_three_rotations_give_an_axis(count: int, found: bool) -> None:
    """Two unknowns of the axis and one of the camera: three directions."""
    one = context(sweep(count))
    assert (proposals.by_rotations(one, explanation(count)) is not None) is found


def knocked(moments: tuple[int, ...], count: int = 12, size_deg: float = 0.3) -> Rotation:
    """A sweep in which the mount is turned as a whole before some frames, each time about another direction."""
    rotations = sweep(count).as_matrix()
    for k, moment in enumerate(moments):
        about = np.array([[1.0, 0.3, 0.0], [-0.4, 0.2, 1.0], [0.3, -1.0, 0.4], [1.0, 0.0, -1.0]][k])
        turn = Rotation.from_rotvec(size_deg * DEG * about / np.linalg.norm(about)).as_matrix()
        rotations[moment:] = turn @ rotations[moment:]
    return Rotation.from_matrix(rotations)


def likely(rotations: Rotation, turns: int, known: tuple[int, ...] = ()) -> list[tuple[int, ...]]:
    attitudes, count = attitudes_of(rotations), len(rotations)
    groups = np.zeros(count, dtype=int)
    whole = solve_axis(attitudes, groups, np.ones(count, dtype=bool), POLE)
    return proposals.likely_moments(whole, groups, turns, known)


def test_three_choices_of_moments_are_solved_exactly() -> None:
    assert len(likely(knocked((5,)), 1)) == 3


def test_two_turns_are_looked_for_together_and_a_third_beside_them() -> None:
    """Together three would be hundreds of choices, a hundred thousand among forty moments."""
    assert (3, 9) in likely(knocked((3, 9)), 2, (6,))
    assert all({4, 8} <= set(c) for c in likely(knocked((3, 6, 9)), 3, (4, 8)))


def test_two_frames_at_least_stand_between_two_turns() -> None:
    """One alone would follow any turn, and tell of none."""
    assert (3, 5) in likely(knocked((3, 5)), 2)
    assert all(min(b - a for a, b in pairwise(c)) >= 2 for c in likely(knocked((3, 4)), 2))


def test_three_turns_of_the_mount_are_looked_for() -> None:
    """Who knocks more often must begin anew (common practice, no source)."""
    found = list(proposals.after_turns(context(knocked((2, 4, 7, 9)))))
    assert [len(one.turns.moments) for one in found if one.turns] == [1, 2, 3]


@pytest.mark.parametrize(("noise", "turns"), [(1.6, [1]), (2.0, [1, 2])])
def test_no_further_turn_is_looked_for_where_the_scatter_is_as_assumed(
    noise: float, turns: list[int]
) -> None:
    """Up to 1.8 times the noise: what a night's seeing does to it (common practice, no source)."""
    clean = knocked((6,))
    used, groups = np.ones(12, dtype=bool), np.zeros(12, dtype=int)
    low, high = 0.5, 4.0
    for _ in range(9):  # the noise that leaves such a scatter
        size = (low + high) / 2
        one = next(proposals.after_turns(context(noisy(clean, 3, size))))
        low, high = (size, high) if one.scale < noise else (low, size)
    found = list(proposals.after_turns(context(noisy(clean, 3, low))))
    assert found[0].scale == pytest.approx(noise, abs=0.06)
    assert [len(one.turns.moments) for one in found if one.turns][:2] == turns
    assert scatter(groups, used, found[0].solution, 2) == pytest.approx(found[0].scale)


@pytest.mark.parametrize(("scale", "clean"), [(1.4, True), (1.6, False)])
def test_up_to_one_and_a_half_times_the_noise_nobody_asks_for_another_explanation(
    scale: float, clean: bool
) -> None:
    """The seeing of one night is not that of another (common practice, no source)."""
    low, high = 0.5, 4.0
    for _ in range(12):  # the noise that leaves such a scatter
        size = (low + high) / 2
        whole = robust.everything(context(noisy(sweep(12), 3, size)))
        low, high = (size, high) if whole.scale < scale else (low, size)
    one = context(noisy(sweep(12), 3, low))
    agreeing = robust.agree(one, one.attitudes.camera.copy())
    assert agreeing is not None
    assert is_clean(robust.everything(one), agreeing) is clean
