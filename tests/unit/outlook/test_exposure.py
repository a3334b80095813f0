"""What an exposure's answer says of the sensor, and of an exposure that somebody wants."""

from __future__ import annotations

import pytest

from polarcheck.outlook.exposure import Exposure, SensorPlace, Wanted


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
    assert limited_at((0.0, 1e-12)) is None


def test_what_is_to_spare_is_what_is_allowed_less_what_there_is() -> None:
    assert Wanted(300.0, 2.5).spare_arcmin(2.0) == pytest.approx(0.5)
    assert Wanted(300.0, 2.5).spare_arcmin(3.0) == pytest.approx(-0.5)
    assert Wanted(300.0, None).spare_arcmin(599.0) == float("inf")
