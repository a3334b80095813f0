"""Which sweep is searched for: how far frames stand apart, when height counts, and when the meridian is passed."""

from __future__ import annotations

import pytest

from polarcheck.axis import MountLimits, Reach
from polarcheck.planning import SweepPlan
from tests.benchmarks.plan import EAST_VIEW
from tests.helpers import DEG
from tests.unit.planning.test_sweep import planned


def within(arc_deg: float) -> Reach:
    return Reach(limits=MountLimits(arc=arc_deg * DEG))


def turns(plan: SweepPlan) -> list[float]:
    return [position.turn_deg for position in plan.positions[1:]]


def test_frames_stand_ten_degrees_apart_where_there_is_room() -> None:
    """Nearer, a wrong turn of the mount is hard to see in its circles: common practice, no source."""
    assert min(turns(planned(frames=4, declination_deg=60.0, reach=within(60.0)))) == pytest.approx(10.0)


def test_beside_the_pole_frames_stand_a_degree_apart_on_the_sky() -> None:
    """Three degrees from it a turn of 19.1 deg moves the field by one: 1 / sin 3 deg."""
    assert turns(planned(frames=6, declination_deg=87.0, reach=within(100.0))) == pytest.approx([20.0] * 5)


def test_where_room_is_short_frames_stand_five_degrees_apart() -> None:
    """Marks of setting circles: common practice, no source."""
    assert turns(planned(frames=6, reach=within(25.0))) == pytest.approx([5.0] * 5)


@pytest.mark.parametrize(("arc_deg", "declination_deg"), [(45.0, 88.0), (60.0, 88.0), (90.0, 85.0)])
def test_a_short_arc_is_taken_two_degrees_from_the_pole(arc_deg: float, declination_deg: float) -> None:
    """There the camera sees the sky turn about the pole itself; over longer arcs other stars tell more."""
    assert planned(frames=4, reach=within(arc_deg)).declination_deg == declination_deg


@pytest.mark.parametrize(("latitude_deg", "declination_deg"), [(47.3, 80.0), (30.0, 85.0)])
def test_above_35_deg_more_height_is_worth_nothing(latitude_deg: float, declination_deg: float) -> None:
    """At 47 deg both stand above it all the time, and declination 80 tells more; at 30 deg height decides."""
    assert planned(latitude_deg).declination_deg == declination_deg


@pytest.mark.parametrize("latitude_deg", [33.0, 60.0])
def test_height_costs_a_tenth_of_the_sigma_at_most(latitude_deg: float) -> None:
    """With a view to the east only, against the best of sweeps whose declination is stated."""
    least = min(
        planned(latitude_deg, reach=EAST_VIEW, declination_deg=float(declination)).expected.total_arcmin
        for declination in (20, 30, 40, 50)
    )
    assert planned(latitude_deg, reach=EAST_VIEW).expected.total_arcmin <= 1.1 * least


@pytest.mark.parametrize(
    ("latitude_deg", "crosses"), [(15.0, True), (17.0, True), (20.0, False), (33.0, False)]
)
def test_meridian_is_passed_where_that_makes_the_sigma_much_smaller(
    latitude_deg: float, crosses: bool
) -> None:
    """Half as large or less at 17 deg; at 20 deg one side of the meridian is as good."""
    assert planned(latitude_deg).crosses_meridian is crosses


def test_two_frames_cross_the_meridian_only_for_much_more() -> None:
    """At 12 deg of latitude the sigma halves by it."""
    assert planned(12.0, frames=2).crosses_meridian
    assert not planned(17.0, frames=2).crosses_meridian
