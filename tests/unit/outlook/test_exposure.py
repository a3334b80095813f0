"""What an exposure's answer says of the sensor, and of an exposure that somebody wants."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.outlook import exposure
from polarcheck.outlook.exposure import Exposure, SensorPlace, Wanted, axes_drawn
from polarcheck.outlook.scene import Scene
from polarcheck.vectors import Array
from tests.unit.outlook.test_outlook import AXIS, FOUND, OUTLOOK, PLACE, START


def limited_at(place: tuple[float, float] | None) -> SensorPlace | None:
    return Exposure(False, 2.0, 100.0, "drift", place, 90.0, False, 21600.0).limited_place


@pytest.mark.parametrize(
    ("place", "distance", "directions"),
    [
        ((0.3, 0.4), 0.5, ("north", "east")),  # a 3-4-5 triangle
        ((-0.3, -0.4), 0.5, ("south", "west")),
        ((0.0, -2.0), 2.0, ("south",)),
        ((1.0, 0.15), 1.01119, ("east",)),  # within a fifth of the longer offset: straight along it
        ((1.0, 0.25), 1.03078, ("north", "east")),
    ],
)
def test_a_place_on_the_sensor_is_told_by_the_skys_directions(
    place: tuple[float, float], distance: float, directions: tuple[str, ...]
) -> None:
    told = limited_at(place)
    assert told is not None
    assert told.distance_deg == pytest.approx(distance, abs=1e-5)
    assert told.directions == directions


def test_the_centre_of_the_sensor_has_no_direction() -> None:
    assert limited_at(None) is None
    assert limited_at((0.0, -0.0)) is None


def test_what_is_to_spare_is_what_is_allowed_less_what_there_is() -> None:
    assert Wanted(300.0, 2.5).spare_arcmin(2.0) == pytest.approx(0.5)
    assert Wanted(300.0, 2.5).spare_arcmin(3.0) == pytest.approx(-0.5)
    assert Wanted(300.0, None).spare_arcmin(599.0) == float("inf")


@pytest.mark.parametrize(("want_s", "least", "most"), [(2.3, 450.0, 530.0), (1.5, None, None)])
def test_beyond_ten_degrees_no_error_is_asked_for(
    want_s: float, least: float | None, most: float | None
) -> None:
    """A misalignment e drifts by 15.04 arcsec/s times sin e: 4.95 arcsec in 2.3 s take 8.2 deg, in 1.5 s 12.7 deg."""
    need = OUTLOOK.required(PLACE, START, want_s)
    if least is None or most is None:
        assert need is None
    else:
        assert need is not None
        assert least < need < most


def test_a_confidence_of_95_percent_rests_on_a_thousand_axes() -> None:
    """The share beyond two standard errors along one direction is 4.55 % (tables of the normal distribution, from
    memory): of a thousand, evenly drawn, to half a percent; twice as many only take a small board's time.
    """
    assert FOUND.covariance is not None
    drawn = axes_drawn(AXIS, FOUND.covariance)
    assert 700 < len(drawn) < 1500
    off = np.degrees(np.arcsin(drawn[:, 2]) - np.arcsin(AXIS[2])) * 60 / 0.3
    assert np.mean(np.abs(off) > 2) == pytest.approx(0.0455, abs=0.005)


def test_axes_are_worked_on_in_parts_that_a_small_board_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty thousand axes times moments, of 24 bytes a place: 4 MB for nine places."""
    parts: list[int] = []
    true_motion = exposure.largest_motion

    def motion(scene: Scene, axes: Array, seconds: Array) -> Array:
        parts.append(len(axes) * len(seconds))
        return true_motion(scene, axes, seconds)

    monkeypatch.setattr(exposure, "largest_motion", motion)
    exposure.limits_of(OUTLOOK.scene(PLACE, START), np.broadcast_to(AXIS, (400, 3)), 5.0)
    assert len(parts) > 1
    assert 15_000 < parts[0] <= 20_000
    assert sum(parts[1:-1]) == parts[0] * (len(parts) - 2)
