"""One outlook gives to each question what the functions below it give."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.alignment import Alignment
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.errors import InputError
from polarcheck.outlook import Optics, Outlook, exposure_limit, required_error, set_scene
from polarcheck.site import Site
from polarcheck.sky import Sky, Target
from polarcheck.times import utc_from_iso
from polarcheck.vectors import direction_from_azalt

SKY = Sky.over(Site(47.3, 11.2, 900.0))
POLE = SKY.refracted_pole
AXIS = direction_from_azalt(POLE.azimuth_deg * DEGREE + 20 * ARCMIN, POLE.altitude_deg * DEGREE - 9 * ARCMIN)
FOUND = Alignment(SKY, "refracted", AXIS, np.eye(2) * (0.3 * ARCMIN) ** 2)
OUTLOOK = Outlook(FOUND, Optics(4.95, 1200, 900), 4.95)
START = utc_from_iso("2026-11-14T20:00:00")
PLACE, DOWN = (10.68, 41.27), (10.68, -60.0)


@pytest.mark.parametrize("guided", [False, True])
def test_exposure_and_what_it_requires_follow_from_tolerance_and_guiding(guided: bool) -> None:
    outlook = replace(OUTLOOK, guided=guided, tolerance_arcsec=2.0)
    scene = set_scene(SKY, POLE, PLACE, START, OUTLOOK.optics, guided=guided)
    assert outlook.exposure(PLACE, START) == exposure_limit(scene, AXIS, POLE, 2.0, FOUND.covariance)
    assert outlook.required(PLACE, START, 120.0) == required_error(scene, POLE, 2.0, 120.0)


def test_an_axis_within_what_is_required_allows_the_exposure_and_one_beyond_does_not() -> None:
    need = OUTLOOK.required(PLACE, START, 300.0)
    assert need is not None
    limits = []
    for part in (0.95, 2.0):
        axis = direction_from_azalt(
            POLE.azimuth_deg * DEGREE, POLE.altitude_deg * DEGREE + part * need * ARCMIN
        )
        limits.append(replace(OUTLOOK, alignment=replace(FOUND, axis=axis)).exposure(PLACE, START).limit_s)
    inside, outside = limits
    assert inside is None or inside >= 300.0
    assert outside is not None
    assert outside < inside if inside is not None else True


def test_each_rate_gives_its_own_drift() -> None:
    """At the solar rate, 15.000 instead of 15.041 arcsec/s of hour angle, a star runs ahead to the west."""
    sidereal, solar = (
        replace(OUTLOOK, rate=rate).drift(PLACE, START, 600.0) for rate in ("sidereal", "solar")
    )
    lag = solar.east_arcsec[-1] - sidereal.east_arcsec[-1]
    assert lag == pytest.approx(-600 * 0.0411 * np.cos(np.radians(41.3)), rel=0.02)
    assert solar.sigma_arcsec is not None


def test_list_keeps_the_order_and_the_reasons() -> None:
    rows = OUTLOOK.exposures([Target("low", *DOWN), Target("M31", *PLACE)], START, 120.0)
    assert [row.target.name for row in rows] == ["low", "M31"]
    assert rows[0].exposure is None
    assert "below the horizon" in (rows[0].reason or "")
    assert rows[1].exposure == OUTLOOK.exposure(PLACE, START)
    assert rows[1].required_arcmin == OUTLOOK.required(PLACE, START, 120.0)


def test_looks_are_at_half_once_and_twice_the_longest_exposure_and_the_wanted_one() -> None:
    limit = OUTLOOK.exposure(PLACE, START).limit_s
    assert limit is not None
    looks = OUTLOOK.look(PLACE, START, 12.0, want_s=1.5 * limit)
    assert [look[0].seconds for look in looks] == pytest.approx([limit * f for f in (0.5, 1.0, 1.5, 2.0)])


def test_map_and_timeline_are_of_this_camera() -> None:
    fine = replace(OUTLOOK, tolerance_arcsec=1.0, guided=True)
    assert fine.map().guided
    assert np.nanmedian(fine.map().limit_s) < np.nanmedian(replace(fine, tolerance_arcsec=4.0).map().limit_s)
    night = fine.timeline(PLACE, START)
    assert night.guided
    assert night.tolerance_arcsec == 1.0


@pytest.mark.parametrize("ask", ["drift", "exposure", "required", "look"])
def test_target_below_the_horizon_is_refused(ask: str) -> None:
    more = {"drift": (60.0,), "required": (60.0,), "look": (12.0,)}.get(ask, ())
    with pytest.raises(InputError, match="below the horizon") as caught:
        getattr(OUTLOOK, ask)(DOWN, START, *more)
    assert caught.value.parameters == ("target_deg", "utc", "site")
