"""Where the camera stood: which frames make a sweep."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy.spatial.transform import Rotation

from polarcheck.frames import Frame
from polarcheck.times import add_seconds
from polarcheck.watch.places import Places
from tests.unit.watch.test_fields import first


def taken(turn_deg: float, seconds: float) -> Frame:
    """A frame after a turn in right ascension, some time after the first."""
    turn = Rotation.from_euler("z", turn_deg, degrees=True)
    return replace(first(), sky=turn.apply(first().sky), utc=add_seconds(first().utc, seconds))


def places_of(*frames: Frame) -> Places:
    places = Places()
    for one in frames:
        places.add(one)
    return places


@pytest.mark.parametrize(("seconds", "counted"), [(7000.0, 2), (7400.0, 1)])
def test_a_sweep_is_made_within_two_hours(seconds: float, counted: int) -> None:
    """Later the tripod has settled and the night has cooled (common practice, no source)."""
    last = taken(20.0, seconds)
    assert len(places_of(taken(0.0, 0.0), last).sweep_to(last)) == counted


def test_a_sweep_takes_the_last_two_frames_of_each_place() -> None:
    """The first ones may show the mount still settling (common practice, no source)."""
    frames = [taken(turn, 60 * turn + 10 * k) for turn in (0.0, 20.0) for k in range(3)]
    run = places_of(*frames).sweep_to(frames[-1])
    assert run == [frames[1:3], frames[4:6]]


@pytest.mark.parametrize(("count", "is_part"), [(7, True), (8, False)])
def test_eight_frames_of_a_field_are_no_place_of_a_sweep(count: int, is_part: bool) -> None:
    """Nobody takes so many for the axis (common practice, no source)."""
    places = places_of(*(taken(0.0, 30.0 * k) for k in range(count)))
    last = taken(20.0, 400.0)
    place = next(iter(places))
    place.is_target = True
    places.add(last)
    assert len(places.sweep_to(last)) == 1 + is_part


def test_sixty_places_and_sixty_frames_of_a_target_are_remembered() -> None:
    """Enough for any night's drift; a night of short exposures has thousands."""
    places = places_of(*(taken(5.0 * k, 30.0 * k) for k in range(62)))
    assert len(list(places)) == 60
    places = places_of(*(taken(0.0, 30.0 * k) for k in range(60)))
    (place,) = places
    assert len(place.frames) == 60
    place.add(taken(0.0, 1800.0))
    assert (place.count, len(place.frames)) == (61, 31)
    assert place.frames[0].utc == first().utc
