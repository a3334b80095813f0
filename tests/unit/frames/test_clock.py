"""What is stated of the clock, and what the file says of it."""

from __future__ import annotations

from typing import Any

import pytest

from polarcheck.errors import ParameterError
from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.frames.clock import RIGHT_CLOCK, Clock, gps_agrees
from polarcheck.frames.exif import exif_cards
from polarcheck.frames.exposure_time import mid_exposure
from polarcheck.times import iso_from_utc
from tests.fits_files import raw_cards

LOCAL: dict[str, Any] = {"DateTimeOriginal": "2026:11:14 22:09:58", "ExposureTime": 4.0}
STATED = LOCAL | {"OffsetTimeOriginal": "+01:00"}
GPS: dict[str, Any] = {"GPSDateStamp": "2026:11:14", "GPSTimeStamp": (21.0, 9.0, 50.0)}


def middle(tags: dict[str, Any], clock: Clock = RIGHT_CLOCK) -> str:
    return iso_from_utc(mid_exposure(Cards(exif_cards(tags)), clock)[0])


def codes(tags: dict[str, Any], clock: Clock = RIGHT_CLOCK) -> list[str]:
    return [notice.code for notice in mid_exposure(Cards(exif_cards(tags)), clock)[2]]


@pytest.mark.parametrize(
    ("tags", "clock"),
    [
        (STATED, Clock()),
        (LOCAL, Clock(zone="+01:00")),
        (LOCAL, Clock(zone="Europe/Vienna")),
        (LOCAL, Clock(ahead_s=3600.0)),
        (STATED, Clock(zone="-05:00")),  # what the file states is not replaced
    ],
)
def test_zone_brings_the_middle_of_the_exposure_to_utc(tags: dict[str, Any], clock: Clock) -> None:
    assert middle(tags, clock) == "2026-11-14T21:10:00.00Z"
    assert codes(tags, clock) == []


def test_clock_that_is_fast_besides_its_zone() -> None:
    assert middle(LOCAL, Clock(90.0, "+01:00")) == "2026-11-14T21:08:30.00Z"
    assert middle(STATED, Clock(90.0)) == "2026-11-14T21:08:30.00Z"


def test_zone_holds_for_local_times_in_fits_too() -> None:
    cards = raw_cards(
        {"DATE-OBS": "2026-11-14T22:10:00", "TIMESYS": "LOCAL", "DATE-AVG": "2026-11-14T22:10:00"}
    )
    assert iso_from_utc(mid_exposure(Cards(cards), Clock(zone="+01:00"))[0]) == "2026-11-14T21:10:00.00Z"
    utc = raw_cards({"DATE-AVG": "2026-11-14T22:10:00"})
    assert iso_from_utc(mid_exposure(Cards(utc), Clock(zone="+01:00"))[0]) == "2026-11-14T22:10:00.00Z"


def test_without_a_zone_there_is_no_time() -> None:
    with pytest.raises(UnusableError, match="names no time zone") as caught:
        middle(LOCAL)
    assert caught.value.parameters == ("zone", "clock_ahead_s")


@pytest.mark.parametrize(("hours", "fits"), [(21.0, "+01:00"), (16.0, "+06:00"), (22.0, "+00:00")])
def test_receiver_in_the_camera_gives_a_hint_and_no_more(hours: float, fits: str) -> None:
    with pytest.raises(UnusableError, match=f"would fit \\{fits}"):
        middle(LOCAL | GPS | {"GPSTimeStamp": (hours, 9.0, 50.0)})


def test_time_that_fits_no_zone_gives_no_hint() -> None:
    with pytest.raises(UnusableError) as caught:
        middle(LOCAL | GPS | {"GPSTimeStamp": (20.0, 33.0, 0.0)})
    assert "would fit" not in str(caught.value)


def test_receiver_contradicts_a_wrong_zone() -> None:
    assert codes(LOCAL | GPS, Clock(zone="+01:00")) == []
    assert codes(LOCAL | GPS, Clock(zone="+02:00")) == ["gps-time"]
    assert codes(STATED | GPS | {"GPSTimeStamp": (23.0, 9.0, 50.0)}) == ["gps-time"]
    cards = Cards(exif_cards(LOCAL | GPS))
    assert gps_agrees(cards, mid_exposure(cards, Clock(zone="+01:00"))[0])
    assert not gps_agrees(cards, mid_exposure(cards, Clock(zone="+02:00"))[0])


def test_zone_that_is_taken_off_twice_is_said() -> None:
    assert codes(STATED, Clock(3600.0)) == ["zone-twice"]
    assert codes(LOCAL, Clock(3600.0, "+01:00")) == ["zone-twice"]
    assert codes(LOCAL, Clock(3600.0, "Europe/Vienna")) == ["zone-twice"]
    assert codes(LOCAL, Clock(90.0, "+01:00")) == []


def test_hour_that_comes_twice_is_refused_with_its_parameter() -> None:
    night = LOCAL | {"DateTimeOriginal": "2026:10:25 02:30:00"}
    with pytest.raises(UnusableError, match="twice") as caught:
        middle(night, Clock(zone="Europe/Vienna"))
    assert caught.value.parameters == ("zone",)


def test_what_is_no_zone_is_no_clock() -> None:
    with pytest.raises(ParameterError):
        Clock(zone="Nowhere")


@pytest.mark.parametrize("text", ["2026:13:14 22:09:58", "2026:11:14 25:09:58"])
def test_impossible_date_names_where_it_stands(text: str) -> None:
    with pytest.raises(UnusableError, match="EXIF time"):
        middle(LOCAL | {"DateTimeOriginal": text}, Clock(zone="+01:00"))


def test_no_time_names_the_tag_that_is_missing() -> None:
    with pytest.raises(UnusableError, match="DateTimeOriginal"):
        middle({}, Clock(zone="+01:00"))


@pytest.mark.parametrize(("fast_s", "said"), [(3645.0, ["zone-twice"]), (3710.0, [])])
def test_clock_that_is_fast_by_its_zone_to_a_minute_is_the_zone(fast_s: float, said: list[str]) -> None:
    """A clock set by hand is right to a minute, and a zone is whole quarters of an hour (common practice, no source)."""
    assert codes(LOCAL, Clock(fast_s, "+01:00")) == said


@pytest.mark.parametrize(("minutes", "agrees"), [(10, True), (22, False)])
def test_receiver_may_tell_a_time_that_is_some_minutes_old(minutes: int, agrees: bool) -> None:
    """A camera that sleeps keeps its last fix; zones differ by a quarter of an hour at least."""
    old = LOCAL | GPS | {"GPSTimeStamp": (20.0, 69.0 - minutes, 50.0)} if minutes > 9 else {}
    cards = Cards(exif_cards(old))
    assert gps_agrees(cards, mid_exposure(cards, Clock(zone="+01:00"))[0]) is agrees


@pytest.mark.parametrize(("seconds", "hinted"), [(90.0, True), (180.0, False)])
def test_hint_is_of_a_clock_that_is_right_to_two_minutes(seconds: float, hinted: bool) -> None:
    """22:09:58 by the clock is +01:00 from 21:09:58; further off it is no quarter of an hour but a wrong clock."""
    minute, second = divmod(9 * 60 + 58 - seconds, 60)
    with pytest.raises(UnusableError) as caught:
        middle(LOCAL | GPS | {"GPSTimeStamp": (21.0, minute, second)})
    assert ("would fit +01:00" in str(caught.value)) is hinted
