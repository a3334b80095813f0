"""A mount that only tracks: what is promised, by the real fit, and what cannot be had."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polarcheck.axis import MountLimits, Reach
from polarcheck.constants import SIDEREAL_RATE
from polarcheck.errors import GeometryError
from polarcheck.measurement import Conditions, measure, measure_frames
from polarcheck.planning import plan_tracked
from polarcheck.planning.expected import DEMO_CAMERA, expected_sigma, with_sag
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import utc_from_iso
from polarcheck.vectors import angle_between
from tests.benchmarks.mounts import Scene, Sweep, frames_of
from tests.benchmarks.plan import SOUTH_VIEW
from tests.helpers import DEG

SKY = Sky.over(Site(47.3, 11.2, 900.0))
EVENING = utc_from_iso("2026-11-14T20:00:00")


def test_longer_is_better_and_the_goal_lies_between() -> None:
    plan = plan_tracked(SKY, EVENING, DEMO_CAMERA, declination_deg=20.0)
    totals = [row.expected.total_arcmin for row in plan.rows]
    assert totals == sorted(totals, reverse=True)
    assert plan.minutes_to_goal is not None
    shorter = [row.expected for row in plan.rows if row.minutes < plan.minutes_to_goal - 1]
    longer = [row.expected for row in plan.rows if row.minutes > plan.minutes_to_goal + 1]
    for rows, sense in ((shorter, 1), (longer, -1)):
        for row in rows:
            assert row.sag_total_arcmin is not None
            assert sense * (np.hypot(row.total_arcmin, row.sag_total_arcmin) - 1) > 0


def test_sag_is_that_of_a_measured_hour() -> None:
    # the sample frames: an hour on one field at this site, axis angles 30 to 45.04 (truth.json); any declination will do
    measured = measure(Path(__file__).parents[3] / "sample_frames" / "tracked_only").alignment
    assert measured.systematic is not None
    azimuth, altitude = measured.systematic.half_widths_arcmin(measured.axis)
    sweep = (SKY.refracted_pole.direction, 40 * DEG, np.linspace(30.0, 45.04, 9) * DEG, True, DEMO_CAMERA)
    ours = with_sag(expected_sigma(*sweep), *sweep)
    assert ours.sag_azimuth_arcmin == pytest.approx(azimuth, rel=0.03)
    assert ours.sag_altitude_arcmin == pytest.approx(altitude, rel=0.03)


def test_what_is_promised_for_an_hour_is_what_the_fit_gives() -> None:
    """40 draws give the root mean square to 11 %; three of them. The roll's noise is as white stars have it."""
    plan = plan_tracked(SKY, EVENING, DEMO_CAMERA, declination_deg=60.0)
    row = next(row for row in plan.rows if row.minutes == 60)
    turn = 60.0 * SIDEREAL_RATE / DEG
    angles = tuple(plan.axis_angle_deg + turn * np.arange(row.frames))
    scene = Scene([Sweep(angles, plan.declination_deg)], SKY.site, stars=0, cadence_s=60.0)
    unguided = Conditions(frames_guided=False)
    errors = []
    for seed in range(40):
        found = measure_frames(frames_of(scene, np.random.default_rng(seed)), conditions=unguided)
        errors.append(float(angle_between(found.axis, scene.axis)))
    rms = np.sqrt(np.mean(np.square(errors))) * 10800 / np.pi
    assert rms == pytest.approx(row.expected.total_arcmin, rel=0.33)


def test_near_the_pole_an_hour_goes_furthest_and_the_south_is_slow() -> None:
    free = plan_tracked(SKY, EVENING, DEMO_CAMERA)
    south = plan_tracked(SKY, EVENING, DEMO_CAMERA, reach=SOUTH_VIEW)
    assert free.declination_deg > 80
    assert free.minutes_to_goal is not None and south.minutes_to_goal is not None
    assert free.minutes_to_goal < south.minutes_to_goal
    assert free.rows[0].expected.total_arcmin < south.rows[0].expected.total_arcmin / 10


def test_field_stays_in_reach_as_long_as_is_told() -> None:
    plan = plan_tracked(SKY, EVENING, DEMO_CAMERA, reach=SOUTH_VIEW)
    turn = plan.rows[-1].minutes * 60 * SIDEREAL_RATE
    latitude, declination = SKY.refracted_pole.altitude_deg * DEG, plan.declination_deg * DEG
    for angle in (plan.axis_angle_deg * DEG, plan.axis_angle_deg * DEG + turn):
        sine = np.sin(latitude) * np.sin(declination)
        sine += np.cos(latitude) * np.cos(declination) * np.cos(angle)
        assert 20 - 1e-6 <= np.arcsin(sine) / DEG <= 60 + 1e-6


def test_goal_beyond_what_the_field_gives_is_none_and_no_field_is_an_error() -> None:
    assert plan_tracked(SKY, EVENING, DEMO_CAMERA, goal_arcmin=1e-4).minutes_to_goal is None
    with pytest.raises(GeometryError, match="quarter of an hour"):
        plan_tracked(SKY, EVENING, DEMO_CAMERA, reach=Reach(lowest=89.9 * DEG))


@pytest.mark.parametrize(("minutes", "enough"), [(12, False), (18, True)])
def test_a_field_must_stay_in_reach_for_a_quarter_of_an_hour(minutes: float, enough: bool) -> None:
    """In less a field turns by less than 4 deg, and the noise of its frames is hardly told: the rows begin there."""
    turns = (-0.01 * DEG, minutes * 60 * SIDEREAL_RATE + 0.01 * DEG)
    reach = Reach(limits=MountLimits(turns=turns))
    if not enough:
        with pytest.raises(GeometryError, match="quarter of an hour"):
            plan_tracked(SKY, EVENING, DEMO_CAMERA, reach=reach)
        return
    plan = plan_tracked(SKY, EVENING, DEMO_CAMERA, reach=reach, goal_arcmin=60.0)
    assert [row.minutes for row in plan.rows] == [15]
    assert plan.minutes_to_goal == 15
