"""The motion on a sensor against the length of an exposure: its inverse is the longest exposure for a tolerance."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from polarcheck.measurement import measure
from polarcheck.outlook import Optics, Outlook, growing_motion, motion_curve
from polarcheck.outlook.growing_motion import MotionCurve
from polarcheck.outlook.scene import Scene
from polarcheck.vectors import Array
from tests.commands import SAMPLES

LENS = Optics(4.95, 1200, 900, guide_offset_deg=(0.5, -0.25), periodic_error_arcsec=20.0, worm_period_s=480.0)
AT = "2026-11-14T22:00:00"
ANDROMEDA = (10.68, 41.27)


@cache
def ahead(guided: bool, tolerance: float = 4.95) -> Outlook:
    return Outlook(measure(SAMPLES / "north_sweep").alignment, LENS, tolerance, guided)


@cache
def curve(guided: bool) -> MotionCurve:
    asked = ahead(guided)
    return motion_curve(asked.scene(ANDROMEDA, AT), asked.alignment)


@pytest.mark.parametrize("guided", [False, True])
@pytest.mark.parametrize("tolerance", [2.0, 4.95, 11.0])
def test_a_tolerance_reads_the_exposure_that_is_found_without_a_table(guided: bool, tolerance: float) -> None:
    """Two ways to one number; 0.5 % is what reading between lengths 15 % apart may cost."""
    exact = ahead(guided, tolerance).exposure(ANDROMEDA, AT)
    assert exact.limit_s is not None
    assert exact.limit_s_95 is not None
    assert curve(guided).limit_s(tolerance) == pytest.approx(exact.limit_s, rel=0.005)
    assert curve(guided).limit_s(tolerance, sure=True) == pytest.approx(exact.limit_s_95, rel=0.005)


@pytest.mark.parametrize("guided", [False, True])
def test_motion_never_falls_and_95_in_100_see_no_less(guided: bool) -> None:
    found = curve(guided)
    assert found.arcsec_95 is not None
    assert (np.diff(found.arcsec) >= 0).all()
    assert (np.diff(found.arcsec_95) >= 0).all()
    assert (found.arcsec_95 >= found.arcsec * 0.999).all()
    assert found.seconds[-1] == pytest.approx(ahead(guided).scene(ANDROMEDA, AT).end_s)


def test_a_tolerance_that_is_never_reached_has_no_limit() -> None:
    assert curve(True).limit_s(1e6) is None


def test_an_axis_that_was_merely_given_says_nothing_of_confidence() -> None:
    asked = ahead(True)
    found = motion_curve(asked.scene(ANDROMEDA, AT), replace(asked.alignment, covariance=None))
    assert found.arcsec_95 is None
    assert found.limit_s(4.95, sure=True) is None
    assert found.limit_s(4.95) == pytest.approx(curve(True).limit_s(4.95))


def test_between_lengths_motion_is_a_power_of_the_length() -> None:
    table = MotionCurve(np.array([10.0, 20.0, 30.0]), np.array([1.0, 4.0, np.inf]), None)
    assert table.limit_s(0.5) == pytest.approx(5.0)
    assert table.limit_s(2.25) == pytest.approx(15.0)
    assert table.limit_s(1.0) == pytest.approx(10.0)
    assert table.limit_s(5.0) == pytest.approx(20.0)


def test_a_curve_begins_at_a_second_and_has_some_tens_of_points() -> None:
    """Shorter exposures need no mount; a page draws the curve, and reads tolerances from it to 0.5 % (above)."""
    found = curve(True)
    assert 0.6 < found.seconds[0] < 1.5
    assert 50 < len(found.seconds) < 100


def test_axes_are_worked_on_in_parts_that_a_small_board_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Some hundred of the thousand at a time, each at all lengths of the table."""
    parts: list[int] = []
    true_motion = growing_motion.largest_motion

    def motion(scene: Scene, axes: Array, seconds: Array) -> Array:
        parts.append(len(axes))
        return true_motion(scene, axes, seconds)

    monkeypatch.setattr(growing_motion, "largest_motion", motion)
    motion_curve(ahead(True).scene(ANDROMEDA, AT), ahead(True).alignment)
    assert 100 < max(parts) < 200
