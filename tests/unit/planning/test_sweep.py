"""The sweep plan: in reach, as good as promised, never worse than the obvious choice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.axis import Horizon, MountLimits, Reach
from polarcheck.errors import GeometryError
from polarcheck.measurement import measure_frames
from polarcheck.planning import PlanCamera, SweepPlan, SweepWish, plan_sweep
from polarcheck.planning.bodies import moon_at
from polarcheck.planning.expected import DEMO_CAMERA
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import add_seconds, utc_from_iso
from tests.benchmarks.mounts import Scene, Sweep, frames_of
from tests.benchmarks.plan import CASES, EAST_VIEW, SOUTH_VIEW, errors_of, plan_of
from tests.helpers import DEG, enu, icrs, separation_arcsec

EVENING = utc_from_iso("2026-11-14T20:00:00")
CAMERA = replace(DEMO_CAMERA, assumed=False)


def planned(
    latitude_deg: float = 47.3,
    frames: int = 5,
    reach: Reach | None = None,
    declination_deg: float | None = None,
    utc: tuple[float, float] = EVENING,
    camera: PlanCamera = CAMERA,
) -> SweepPlan:
    sky = Sky.over(Site(latitude_deg, 11.2, 900.0))
    return plan_sweep(sky, utc, camera, SweepWish(frames, declination_deg, reach or Reach()))


def angles(plan: SweepPlan) -> list[float]:
    return [position.axis_angle_deg for position in plan.positions]


@pytest.mark.parametrize("case", [CASES[1], CASES[6]], ids=lambda case: case.name)
def test_expected_sigma_is_that_of_the_real_fit(case) -> None:  # type: ignore[no-untyped-def]
    """90 draws give the root mean square to 7.5 %, so that 22 % are three of these; tests.benchmarks.plan has more."""
    plan = plan_of(case)
    rms = np.sqrt(np.mean(errors_of(plan, 90, 0) ** 2, axis=0))
    assert rms[0] == pytest.approx(plan.expected.azimuth_arcmin, rel=0.22)
    assert rms[1] == pytest.approx(plan.expected.altitude_arcmin, rel=0.22)
    assert rms[2] == pytest.approx(plan.expected.total_arcmin, rel=0.22)


@pytest.mark.parametrize("frames", [3, 5, 8])
@pytest.mark.parametrize("latitude_deg", [-75.0, -45, -31.4, -5, 0, 8, 20, 33, 47.3, 60, 78])
def test_plan_is_never_worse_than_the_obvious_choice(latitude_deg: float, frames: int) -> None:
    plan = planned(latitude_deg, frames)
    assert plan.obvious_in_reach or abs(latitude_deg) < 10 or abs(latitude_deg) > 70
    assert plan.expected.total_arcmin < plan.obvious.total_arcmin
    if plan.obvious_in_reach:
        assert plan.expected.azimuth_arcmin <= plan.obvious.azimuth_arcmin * (1 + 1e-6)
        assert plan.expected.altitude_arcmin <= plan.obvious.altitude_arcmin * (1 + 1e-6)


@pytest.mark.parametrize("latitude_deg", [47.3, -31.4, 3.0])
@pytest.mark.parametrize("reach", [Reach(), SOUTH_VIEW, EAST_VIEW], ids=["all", "south", "east"])
def test_positions_stand_where_spherical_trigonometry_has_them(latitude_deg: float, reach: Reach) -> None:
    """Altitude and azimuth of hour angle and declination (textbook formulas) at the latitude of the refracted pole."""
    plan = planned(latitude_deg, 4, reach)
    north = 1 if latitude_deg >= 0 else -1
    latitude = north * plan.sky.refracted_pole.altitude_deg * DEG
    for position in plan.positions:
        turn, declination = position.axis_angle_deg * DEG, position.declination_deg * DEG
        sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(turn)
        assert position.altitude_deg == pytest.approx(np.arcsin(sine) / DEG, abs=1e-6)
        azimuth = np.arctan2(
            -np.cos(declination) * np.sin(turn),
            np.sin(declination) * np.cos(latitude) - np.cos(declination) * np.cos(turn) * np.sin(latitude),
        )
        assert ((position.azimuth_deg - azimuth / DEG + 180) % 360 - 180) == pytest.approx(0, abs=1e-6)
        assert bool(reach.sees(enu(position.azimuth_deg * DEG, position.altitude_deg * DEG)))


def test_places_among_the_stars_are_those_seen_there_then() -> None:
    # hour angle = sidereal time - right ascension; precession since 2000 and refraction stay below 0.5 deg at dec 60
    plan = planned(declination_deg=60.0)
    for position in plan.positions:
        sidereal = float(plan.sky.sidereal_time(np.array([position.utc]))[0]) / DEG
        turn = (sidereal - position.right_ascension_deg - position.axis_angle_deg + 180) % 360 - 180
        assert abs(turn) < 1.0
        assert position.icrs_declination_deg == pytest.approx(60.0, abs=0.3)


@pytest.mark.parametrize("pace_s", [60, 120])
def test_at_a_pace_of_one_to_two_minutes_the_last_field_is_the_one_named(pace_s: float) -> None:
    """A turn, settling and an exposure take so long (common practice, no source); on the equator the sky moves fastest."""
    plan = planned(declination_deg=0.0)
    last = plan.positions[-1]
    then = add_seconds(plan.utc, 4.0 * pace_s)
    seen = enu(last.azimuth_deg * DEG, last.altitude_deg * DEG)
    place = plan.sky.icrs(seen[None, None], np.array([then]))[0, 0]
    named = icrs(last.right_ascension_deg * DEG, last.icrs_declination_deg * DEG)
    assert separation_arcsec(place, named) < CAMERA.height_px / 2 * CAMERA.scale_arcsec


@pytest.mark.parametrize("frames", [3, 5])
def test_the_obvious_choice_goes_from_30_east_to_30_west_at_declination_60(frames: int) -> None:
    """As documented; common practice, no source. Its sigma is the closed form for free turns (Cramer-Rao bound)."""
    plan = planned(frames=frames)
    turns, declination = np.linspace(-30.0, 30.0, frames) * DEG, 60 * DEG
    rotations = np.array([[[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]] for a in turns])
    tangential = np.sin(declination) ** 2 + np.cos(declination) ** 2 / CAMERA.roll_moment
    weight = np.diag([1.0, 1 / tangential])
    mean = rotations.mean(axis=0)
    each = np.mean(rotations @ weight @ rotations.transpose(0, 2, 1), axis=0)
    covariance = np.linalg.inv(frames * (each - mean @ weight @ mean.T))
    up, across = np.sqrt(np.diag(covariance)) * CAMERA.noise / DEG * 60
    assert plan.obvious.altitude_arcmin == pytest.approx(up, rel=0.01)
    cosine = np.cos(plan.sky.refracted_pole.altitude_deg * DEG)
    assert plan.obvious.azimuth_arcmin * cosine == pytest.approx(across, rel=0.01)


def test_turns_go_westward_and_add_up() -> None:
    plan = planned(frames=6)
    turns = [position.turn_deg for position in plan.positions]
    assert turns[0] == 0
    assert min(turns[1:]) >= 5
    steps = np.diff(np.unwrap(np.radians(angles(plan)))) / DEG
    assert steps == pytest.approx(turns[1:], abs=1e-6)
    assert plan.arc_deg == pytest.approx(sum(turns))


def test_a_mount_that_nobody_described_is_kept_on_one_side_of_the_meridian() -> None:
    plan = planned()
    assert not plan.crosses_meridian
    assert not {notice.code for notice in plan.notices}


def test_meridian_is_passed_with_a_warning_only_where_nothing_else_will_do() -> None:
    plan = planned(3.0)  # so near the equator one side has too short an arc
    assert plan.crosses_meridian
    assert "crosses-meridian" in {notice.code for notice in plan.notices}
    stated = planned(3.0, reach=Reach(limits=MountLimits(past_meridian=0.0)))
    assert not stated.crosses_meridian
    able = planned(3.0, reach=Reach(limits=MountLimits(past_meridian=np.pi)))
    assert "crosses-meridian" not in {notice.code for notice in able.notices}


@pytest.mark.parametrize("past_deg", [0.0, 10.0, 25.0])
def test_stated_meridian_limit_is_kept(past_deg: float) -> None:
    for reach in (Reach(), SOUTH_VIEW):
        plan = planned(reach=replace(reach, limits=MountLimits(past_meridian=past_deg * DEG)))
        unwrapped = np.unwrap(np.radians(angles(plan))) / DEG
        sides = [
            (unwrapped + turn >= begin - 1e-6).all() and (unwrapped + turn <= end + 1e-6).all()
            for begin, end in ((-180 - past_deg, past_deg), (-past_deg, 180 + past_deg))
            for turn in (-360, 0, 360)
        ]
        assert any(sides)


def test_arc_and_axis_angles_of_the_mount_are_kept() -> None:
    limits = MountLimits(turns=(-60 * DEG, 30 * DEG), arc=50 * DEG)
    plan = planned(reach=Reach(limits=limits))
    assert plan.arc_deg <= 50 + 1e-6
    assert min(angles(plan)) >= -60 - 1e-6
    assert max(angles(plan)) <= 30 + 1e-6


def test_horizon_is_kept() -> None:
    trees = Horizon(np.array([0.0, 180.0]) * DEG, np.array([55.0, 20.0]) * DEG)
    plan = planned(reach=Reach(horizon=trees))
    for position in plan.positions:
        assert position.altitude_deg >= float(trees.altitude(position.azimuth_deg * DEG)) / DEG - 1e-6


@pytest.mark.parametrize("declination_deg", [-10.0, 20.0, 60.0, 89.0])
def test_stated_declination_is_kept(declination_deg: float) -> None:
    plan = planned(declination_deg=declination_deg)
    declinations = [position.declination_deg for position in plan.positions]
    assert declinations == pytest.approx([declination_deg] * len(declinations))


def test_bright_moon_is_kept_away_from() -> None:
    # 2026-11-25 20:00 UTC: 98 % lit, 30 deg high in the east, by skyfield beforehand
    utc = utc_from_iso("2026-11-25T22:00:00")
    plan = planned(reach=EAST_VIEW, utc=utc)
    moon = moon_at(utc, plan.sky).body.direction
    for position in plan.positions:
        place = enu(position.azimuth_deg * DEG, position.altitude_deg * DEG)
        assert separation_arcsec(place, moon) > 29 * 3600


def test_daylight_is_warned_of_and_the_sun_is_kept_away_from() -> None:
    plan = planned(reach=SOUTH_VIEW, utc=utc_from_iso("2026-06-21T08:00:00"))
    assert "daylight" in {notice.code for notice in plan.notices}
    with pytest.raises(GeometryError, match="in reach"):
        planned(reach=SOUTH_VIEW, utc=utc_from_iso("2026-11-14T11:10:00"))


def test_what_is_not_in_reach_is_said() -> None:
    with pytest.raises(GeometryError, match="nothing at declination -70 is in reach"):
        planned(declination_deg=-70.0)
    with pytest.raises(GeometryError, match="nothing anywhere"):
        planned(reach=Reach(horizon=Horizon(np.zeros(1), np.array([np.pi / 2]))))
    slit = Reach(lowest=40 * DEG, highest=45 * DEG, view=(178 * DEG, 182 * DEG))
    with pytest.raises(GeometryError, match="20 frames of one sweep are not in reach"):
        planned(frames=20, reach=slit)


def test_sag_is_what_measure_allows_for_on_such_frames() -> None:
    # frames 40 s apart in the simulated sweep, 90 s in the plan: a steady creep is the same; 3 %: the fit's roll weight
    plan = planned(frames=4)
    scene = Scene([Sweep(tuple(angles(plan)), plan.declination_deg)], plan.sky.site, (0.0, 0.0), stars=0)
    found = measure_frames(frames_of(scene, np.random.default_rng(1))).alignment
    assert found.systematic is not None
    azimuth, altitude = found.systematic.half_widths_arcmin(found.axis)
    assert plan.expected.sag_azimuth_arcmin == pytest.approx(azimuth, rel=0.03)
    assert plan.expected.sag_altitude_arcmin == pytest.approx(altitude, rel=0.03)


def test_camera_that_nobody_stated_is_said_to_be_assumed() -> None:
    assert "assumed-camera" in {notice.code for notice in planned(camera=DEMO_CAMERA).notices}


@pytest.mark.parametrize("latitude_deg", [90.0, -90.0, 0.0])
def test_poles_and_equator_have_plans(latitude_deg: float) -> None:
    plan = planned(latitude_deg)
    assert plan.expected.altitude_arcmin < 0.2
    assert all(position.altitude_deg >= 15 - 1e-6 for position in plan.positions)


def test_the_obvious_choice_is_in_reach_of_a_view_to_the_north() -> None:
    """Declination 60 passes north of the zenith at 47 degrees, as targets there do; 30 passes south of it."""
    assert planned(reach=Reach(view=(300 * DEG, 60 * DEG))).obvious_in_reach
