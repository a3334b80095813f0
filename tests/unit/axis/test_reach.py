"""Where a mount can point, by cases that can be thought through on one's fingers."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis import Horizon, MountLimits, Reach
from tests.helpers import DEG, enu

WALL = Horizon(np.array([0.0, 90.0, 180.0, 270.0]) * DEG, np.array([10.0, 40.0, 20.0, 30.0]) * DEG)


@pytest.mark.parametrize(
    ("azimuth", "altitude"), [(0, 10), (45, 25), (90, 40), (225, 25), (315, 20), (360, 10), (342, 14)]
)
def test_horizon_is_straight_between_its_points_and_on_through_north(azimuth: float, altitude: float) -> None:
    # by hand: 315 lies half-way between 30 deg at 270 and 10 deg at 360
    assert WALL.altitude(azimuth * DEG) / DEG == pytest.approx(altitude)


@pytest.mark.parametrize(
    ("azimuth", "altitude", "open_sky"),
    [(90, 39, False), (90, 41, True), (0, 12, False), (0, 16, True), (180, 79, True), (180, 81, False)],
)
def test_lowest_highest_and_horizon_all_count(azimuth: float, altitude: float, open_sky: bool) -> None:
    reach = Reach(highest=80 * DEG, horizon=WALL)
    assert bool(reach.sees(enu(azimuth * DEG, altitude * DEG))) is open_sky


@pytest.mark.parametrize(
    ("view", "azimuth", "open_sky"),
    [((120, 240), 180, True), ((120, 240), 119, False), ((120, 240), 241, False), ((120, 240), 120, True)]
    + [((300, 60), 0, True), ((300, 60), 299, False), ((300, 60), 59, True), ((300, 60), 180, False)],
)
def test_view_goes_from_its_first_azimuth_through_east_to_its_second(
    view: tuple[float, float], azimuth: float, open_sky: bool
) -> None:
    reach = Reach(view=(view[0] * DEG, view[1] * DEG))
    assert bool(reach.sees(enu(azimuth * DEG, 40 * DEG))) is open_sky


def test_what_is_avoided_is_kept_at_its_distance() -> None:
    moon = enu(200 * DEG, 40 * DEG)
    reach = Reach(avoided=((moon, 20 * DEG),))
    seen = reach.sees(np.stack([moon, enu(200 * DEG, 59 * DEG), enu(200 * DEG, 61 * DEG)]))
    assert seen.tolist() == [False, False, True]


def test_sides_of_the_pier_part_at_the_meridian() -> None:
    east, west = np.array(MountLimits(past_meridian=10 * DEG).windows()) / DEG
    assert east.tolist() == pytest.approx([-190, 10])
    assert west.tolist() == pytest.approx([-10, 190])


@pytest.mark.parametrize(
    ("past", "angles", "expected"),
    [
        (None, [-40, -10], [(-180, 0)]),
        (None, [10, 60], [(0, 180)]),
        (None, [-20, 50], [(-20, 200)]),  # looking west, it has shown that it goes 20 deg past
        (10, [-5, 5], [(-190, 10), (-10, 190)]),
        (10, [-40, 5], [(-190, 10)]),
        (0, [-40, 40], []),  # contradicts the rig file
        (10, [170, 200], [(170, 370)]),  # below the pole, through the lower meridian: seen from the east side
    ],
)
def test_frames_tell_the_side(past: float | None, angles: list[float], expected: list[object]) -> None:
    limits = MountLimits(None if past is None else past * DEG)
    found = Reach(limits=limits).windows_with(np.array(angles) * DEG)
    assert [tuple(round(float(end) / DEG, 6) for end in window) for window in found] == expected


def test_turns_beyond_the_mounts_own_are_refused() -> None:
    limits = MountLimits(turns=(-90 * DEG, 60 * DEG))
    assert limits.allows_turn(np.array([-91, -90, 60, 61, 270]) * DEG).tolist() == [
        False,
        True,
        True,
        False,
        True,
    ]
