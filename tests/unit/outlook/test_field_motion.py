"""Many fields at once: which stars count, and how many are worked on together."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from polarcheck.outlook import Optics, Outlook, field_motion, motion_curve
from polarcheck.outlook.fast_sky import FastSky
from polarcheck.outlook.field_motion import Fields, Tracking, field_limits
from polarcheck.vectors import Array, direction_from_azalt, direction_from_spherical
from tests.helpers import ARCSEC, DEG, enu
from tests.unit.outlook.test_outlook import AXIS, FOUND, OUTLOOK, POLE, SKY, START


@pytest.mark.parametrize(("altitude_deg", "counts"), [(4.5, False), (5.5, True)])
def test_a_star_below_five_degrees_does_not_count(altitude_deg: float, counts: bool) -> None:
    """There its refraction is not known to what it moves: a degree of temperature is 2 arcsec (erfa's refco: 590 arcsec
    at 5 deg, and 1 in 280 for a kelvin).
    """
    fast = FastSky(SKY)
    hour, declination = fast.place(fast.unlifted(enu(250 * DEG, altitude_deg * DEG)[None]))
    fields = Fields.of(fast, OUTLOOK.optics, hour, declination, heights=None)
    assert bool(fields.counts[0, 0]) is counts


def test_fields_are_worked_on_in_parts_that_a_small_board_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Forty thousand stars, at twenty a field: two thousand fields."""
    parts: list[int] = []

    def fields(_fast: object, _optics: object, hours: Array, *_: object) -> int:
        parts.append(len(hours))
        return len(hours)

    def limits(count: int, *_: object) -> tuple[Array, Array]:
        return np.zeros(count), np.zeros(count)

    monkeypatch.setattr(field_motion.Fields, "of", fields)
    monkeypatch.setattr(field_motion, "first_limits", limits)
    tracking: Any = Tracking(AXIS, guided=True)
    high = (np.zeros(5000), np.full(5000, 40 * DEG))
    field_limits(high, FastSky(SKY), OUTLOOK.optics, tracking, 1.0)
    assert parts == [2000, 2000, 1000]


def limit_on_the_map(outlook: Outlook, target_deg: tuple[float, float]) -> float:
    """Longest exposure of a target, as one of the many fields of a map. [s]"""
    star = direction_from_spherical(target_deg[0] * DEG, target_deg[1] * DEG)
    seen = SKY.observed(star[None, None], np.array([START]))[:, 0]
    fast = FastSky(SKY)
    tracking = Tracking(outlook.alignment.axis, outlook.guided)
    place = fast.place(fast.unlifted(seen))
    return float(field_limits(place, fast, outlook.optics, tracking, outlook.tolerance_arcsec)[0][0])


@pytest.mark.parametrize("guided", [False, True])
@pytest.mark.parametrize("target_deg", [(10.68, 41.27), (40.0, 20.0), (300.0, 70.0)])
def test_limit_on_the_map_is_that_of_the_target_alone(guided: bool, target_deg: tuple[float, float]) -> None:
    """By ERFA and moments of its own; the map leaves out some aberration and precession: 0.2 %."""
    outlook = replace(OUTLOOK, guided=guided, tolerance_arcsec=3.0)
    alone = outlook.exposure(target_deg, START).limit_s
    assert limit_on_the_map(outlook, target_deg) == pytest.approx(alone, rel=2e-3)


def overhead(hours_east: float, declination_deg: float) -> tuple[float, float]:
    """Where to point so many hours before the meridian. [deg]"""
    sidereal = float(SKY.sidereal_time(np.array([START]))[0]) / DEG
    return (sidereal + 15 * hours_east) % 360, declination_deg


def test_crest_of_a_worms_period_is_looked_at() -> None:
    """Over half a period a field has moved by the whole periodic error, at its worst phase: 20 arcsec times cos(dec).

    Of that it comes to 99 % after asin(0.99) / pi of the period; overhead the air moves it by less than 0.1 arcsec.
    """
    optics = Optics(1.0, 100, 100, periodic_error_arcsec=20.0, worm_period_s=240.0)
    on_pole = replace(FOUND, axis=SKY.refracted_pole.direction)
    tolerance = 0.99 * 20.0 * np.cos(47.3 * DEG)
    seen = limit_on_the_map(Outlook(on_pole, optics, tolerance, guided=False), overhead(0.0, 47.3))
    assert seen == pytest.approx(240 * np.arcsin(0.99) / np.pi, abs=2.0)


@pytest.mark.parametrize("hours_east", [2.0, 1.5, 1.0])
def test_motion_that_turns_back_is_seen_within_a_twentieth_of_its_largest(hours_east: float) -> None:
    """A field held by a guider turns one way and then back within hours."""
    optics = Optics(2.0, 1200, 900, guide_offset_deg=(0.5, -0.25))
    target = overhead(hours_east, 40.0)
    found = replace(
        FOUND,
        axis=direction_from_azalt(
            POLE.azimuth_deg * DEG + 7.4 * 60 * ARCSEC, POLE.altitude_deg * DEG + 3 * 60 * ARCSEC
        ),
        covariance=None,
    )
    outlook = Outlook(found, optics, 1.0, guided=True)
    curve = motion_curve(outlook.scene(target, START), found)
    peak, when = curve.arcsec[-1], curve.seconds[np.argmax(curve.arcsec >= 0.999 * curve.arcsec[-1])]
    assert when < 0.9 * curve.seconds[-1]
    assert limit_on_the_map(replace(outlook, tolerance_arcsec=0.95 * peak), target) < when
