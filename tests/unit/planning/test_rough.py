"""Set-up numbers: shadows, clock positions, expectations, and places where something is missing."""

from __future__ import annotations

import warnings
from itertools import pairwise
from pathlib import Path

import erfa
import numpy as np
import pytest

from polarcheck.planning import RoughSetup, compass_at, expectations, pole_field, pole_stars, rough_setup
from polarcheck.planning.usual_errors import level_crosstalk_arcmin
from polarcheck.rig import read_rig
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import seconds_between, utc_from_iso

NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)


def setup_of(site: Site = NORTH, time: str = "2026-11-14T13:00:00") -> RoughSetup:
    return rough_setup(Sky.over(site), utc_from_iso(time))


@pytest.mark.parametrize(
    ("north", "hour_angle_h", "clock"),
    # by hand: facing north the sky turns anticlockwise, an hour of the face in two hours; facing south clockwise
    [
        (True, 0, 12),
        (True, 6, 9),
        (True, 12, 6),
        (True, 18, 3),
        (False, 6, 3),
        (False, 18, 9),
        (False, 12, 6),
    ],
)
def test_clock_goes_backwards_in_the_north_and_forwards_in_the_south(
    north: bool, hour_angle_h: float, clock: float
) -> None:
    sky = Sky.over(Site(50.0 if north else -50.0, 0.0))
    times = [f"2026-11-14T{hour:02d}:{minute:02d}:00" for hour in range(24) for minute in (0, 30)]
    stars = [pole_stars(utc_from_iso(time), sky)[0] for time in times]
    star = min(stars, key=lambda one: abs((one.hour_angle_h - hour_angle_h + 12) % 24 - 12))
    apart = (star.clock_naked_eye - clock + 6) % 12 - 6
    assert abs(apart) < 0.2
    assert (star.clock_inverted - star.clock_naked_eye) % 12 == pytest.approx(6)
    assert 0 < star.clock_inverted <= 12


@pytest.mark.parametrize("site", [NORTH, SOUTH])
def test_right_of_the_pole_is_growing_azimuth(site: Site) -> None:
    sky = Sky.over(site)
    for hour in (1, 7, 13, 19):
        star = pole_stars(utc_from_iso(f"2026-11-14T{hour:02d}:00:00"), sky)[0]
        right, above = star.clock_naked_eye < 6, not 3 < star.clock_naked_eye < 9
        assert (star.azimuth_offset_arcmin > 0) is right
        assert (star.altitude_offset_arcmin > 0) is above


def test_pole_star_goes_around_once_in_a_sidereal_day() -> None:
    star = pole_stars(utc_from_iso("2026-11-14T20:00:00"), Sky.over(NORTH))[0]
    assert star.speed_arcmin_per_h == pytest.approx(2 * np.pi * star.distance_arcmin / 23.9345, rel=1e-4)


def test_shadows_go_on_every_ten_minutes_until_the_sun_is_low() -> None:
    rows = setup_of().shadows
    steps = [seconds_between(a.utc, b.utc) for a, b in pairwise(rows)]
    assert steps == pytest.approx([600.0] * len(steps))
    assert rows[-1].altitude_deg >= 1
    assert rows[-1].altitude_deg < 3  # the Sun sets soon after
    assert rows[0].length == pytest.approx(1 / np.tan(np.radians(rows[0].altitude_deg)))
    assert setup_of(time="2026-11-14T20:00:00").shadows == ()


@pytest.mark.parametrize(
    ("site", "time", "sunset", "dark"),
    [
        (Site(69.5, 18.9), "2026-06-21T12:00:00", False, False),  # midnight Sun
        (Site(78.2, 15.6), "2026-12-21T12:00:00", False, True),  # polar night: it never rises
        (Site(55.0, 0.0), "2026-06-21T12:00:00", True, False),  # no full darkness
        (NORTH, "2026-11-14T13:00:00", True, True),
        (Site(0.0, 179.99), "2026-11-14T13:00:00", True, True),
    ],
)
def test_dusk_comes_where_it_does(site: Site, time: str, sunset: bool, dark: bool) -> None:
    times = setup_of(site, time).sun_times
    assert (times.sunset is not None) is sunset
    assert (times.dark is not None) is dark


def test_pole_star_at_dusk_is_told_by_daylight_only() -> None:
    day, night = setup_of(), setup_of(time="2026-11-14T20:00:00")
    assert day.dusk_star is not None
    assert day.sun_times.pole_star is not None
    waited = seconds_between(day.utc, day.sun_times.pole_star) / 3600
    # half an hour of the clock's face an hour, backwards
    moved = (day.pole_star.clock_naked_eye - day.dusk_star.clock_naked_eye) % 12
    assert moved == pytest.approx(waited * 24 / 23.9345 / 2, abs=0.02)
    assert night.dusk_star is None


@pytest.mark.parametrize("year", [1995, 2009, 2030, 2045])
def test_date_without_a_magnetic_model_is_unknown_and_said(year: int) -> None:
    compass = compass_at(NORTH, utc_from_iso(f"{year}-06-01T00:00:00"))
    assert (compass.declination_deg, compass.bearing_deg, compass.model) == (None, None, None)
    assert [notice.code for notice in compass.notices] == ["magnetic-model-dates"]
    found = rough_setup(Sky.over(NORTH), utc_from_iso(f"{year}-06-01T00:00:00"))
    assert "compass" not in {expected.way for expected in found.expected}


@pytest.mark.parametrize(
    ("time", "model"), [("2012-05-01", "2010"), ("2024-12-31", "2020"), ("2025-01-01", "2025")]
)
def test_model_is_that_of_the_date(time: str, model: str) -> None:
    compass = compass_at(NORTH, utc_from_iso(f"{time}T12:00:00"))
    assert compass.model is not None and model in compass.model


@pytest.mark.parametrize("date", ["1899-12-30", "1900-01-03", "2099-12-29", "2100-01-03"])
@pytest.mark.filterwarnings("ignore::erfa.ErfaWarning")
def test_dates_are_said_to_be_rough_where_erfa_warns_of_them(date: str) -> None:
    """The theories of Sun and Moon hold from 1900 to 2100: ERFA's own warning (eraEpv00)."""
    utc = utc_from_iso(f"{date}T12:00:00")
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        erfa.epv00(*utc)
    codes = {notice.code for notice in rough_setup(Sky.over(NORTH), utc).notices}
    assert ("far-date" in codes) is bool(said)


def test_a_sun_that_dips_for_a_quarter_of_an_hour_sets() -> None:
    """At local midnight, 22:50 UTC, it stands 0.8 arcmin below the limit: the curvature of its path over 8 minutes.

    A dip of less than 10 minutes is 0.3 arcmin deep: refraction at the horizon varies by more.
    """
    sky, noon = Sky.over(Site(65.722, 18.0)), utc_from_iso("2026-06-21T12:00:00")
    sunset = rough_setup(sky, noon).sun_times.sunset
    assert sunset is not None
    assert seconds_between(noon, sunset) == pytest.approx(60 * (10 * 60 + 42), abs=240)


def test_tilts_go_from_what_a_bubble_leaves_to_what_the_eye_leaves() -> None:
    """A bull's-eye level is good to a quarter or half a degree, the bare eye to 2 or 3: common practice, no source."""
    tilts = [tilt for tilt, _ in setup_of().level]
    assert 0.3 <= min(tilts) <= 0.6
    assert 1.5 <= max(tilts) <= 3.0
    assert tilts == sorted(set(tilts))


def test_compass_near_a_magnetic_pole_is_doubted() -> None:
    codes = [
        notice.code for notice in compass_at(Site(85.0, 140.0), utc_from_iso("2026-06-01T00:00:00")).notices
    ]
    assert codes == ["compass-weak"]


def test_pole_star_at_the_equator_is_low() -> None:
    assert "pole-star-low" in {notice.code for notice in setup_of(Site(2.0, 10.0)).notices}


def test_better_ways_leave_less_and_the_rig_says_whether_knobs_suffice(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(
        "[mount.azimuth]\ntravel_arcmin = 300\n[mount.altitude]\ntravel_arcmin = 300\n"
        "[optics]\nfocal_length_mm = 250\n[camera]\npixel_size_um = 6.0\nwidth_px = 1200\nheight_px = 900\n",
        encoding="utf-8",
    )
    found = expectations(47.3, 0.4, read_rig(path))
    totals = [one.total_arcmin for one in found]
    assert totals == sorted(totals, reverse=True)
    # 300 arcmin of travel leave 150 to either side: twice 3 deg is too much, twice 1 deg is not
    assert [one.knobs_suffice for one in found] == [False, True, True, True]
    # 900 px of 4.95" are 74 arcmin: 37 to either side
    assert [one.pole_in_frame for one in found] == [False, False, False, True]
    assert all(one.knobs_suffice is None for one in expectations(47.3, 0.4, None))


@pytest.mark.parametrize(("house_deg", "hidden"), [(60, True), (30, False)])
def test_horizon_hides_the_pole_star_or_not(tmp_path: Path, house_deg: float, hidden: bool) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(
        f"[site]\nlatitude_deg = 47.3\nlongitude_deg = 11.2\nhorizon = [[0, {house_deg}], [180, 5]]\n",
        "utf-8",
    )
    sky, utc = Sky.over(NORTH), utc_from_iso("2026-11-14T20:00:00")
    assert rough_setup(sky, utc, read_rig(path)).pole_star_hidden is hidden
    assert rough_setup(sky, utc).pole_star_hidden is None


def test_level_crosstalk_is_the_sine_of_the_tilt() -> None:
    # derived: turning by A about an axis tilted by t lifts a direction square to the tilt by A sin t
    assert level_crosstalk_arcmin(1.0, 60.0) == pytest.approx(60 * np.sin(np.pi / 180))


@pytest.mark.parametrize("site", [NORTH, SOUTH])
def test_picture_shows_the_pole_star_where_it_is_told(site: Site) -> None:
    sky, utc = Sky.over(site), utc_from_iso("2026-11-14T20:00:00")
    field, star = pole_field(utc, sky, 5.5), pole_stars(utc, sky)[0]
    i = field.names.index(star.name)
    assert field.azimuth_deg[i] == pytest.approx(star.azimuth_deg, abs=1e-9)
    assert field.altitude_deg[i] == pytest.approx(star.altitude_deg, abs=1e-9)
    assert len(field.names) > 50
    assert field.pole == sky.refracted_pole
