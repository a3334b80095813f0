"""What EXIF says, distrusted. Tag names and forms: CIPA DC-008, Exif 2.32 (from memory)."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from polarcheck.frames.cards import Cards
from polarcheck.frames.exif import card, exif_cards, exif_notices

TIME = "2026:11:14 22:09:58"


def value(tags: dict[str, Any], keyword: str) -> Any:
    return Cards(exif_cards(tags)).value(keyword)


@pytest.mark.parametrize(
    ("tags", "begin", "system"),
    [
        ({"DateTimeOriginal": TIME}, "2026-11-14T22:09:58", "LOCAL"),
        ({"DateTimeOriginal": TIME + "\0"}, "2026-11-14T22:09:58", "LOCAL"),
        ({"DateTimeOriginal": TIME.encode()}, "2026-11-14T22:09:58", "LOCAL"),
        ({"DateTimeOriginal": TIME, "OffsetTimeOriginal": "+01:00"}, "2026-11-14T22:09:58+01:00", "UTC"),
        ({"DateTimeOriginal": TIME, "OffsetTimeOriginal": "   :  "}, "2026-11-14T22:09:58", "LOCAL"),
        ({"DateTimeOriginal": TIME, "SubSecTimeOriginal": "45 "}, "2026-11-14T22:09:58.45", "LOCAL"),
        ({"DateTimeOriginal": TIME, "SubSecTimeOriginal": "00"}, "2026-11-14T22:09:58", "LOCAL"),
        ({"DateTimeOriginal": TIME, "SubSecTimeOriginal": "-1"}, "2026-11-14T22:09:58", "LOCAL"),
        ({"DateTimeDigitized": TIME, "OffsetTimeOriginal": "+01:00"}, "2026-11-14T22:09:58", "LOCAL"),
        ({"DateTimeOriginal": "2026-11-14 22:09:58.5Z"}, "2026-11-14T22:09:58.5Z", "UTC"),
    ],
)
def test_start_of_the_exposure_with_its_zone_where_stated(
    tags: dict[str, Any], begin: str, system: str
) -> None:
    assert value(tags, "DATE-BEG") == begin
    assert value(tags, "TIMESYS") == system


@pytest.mark.parametrize(
    "text",
    [
        "0000:00:00 00:00:00",
        "    :  :     :  :  ",
        "",
        "\x1b[31m2026:11:14",
        "x" * 10_000,
        5,
        None,
        b"\xff" * 20,
    ],
)
def test_clock_that_was_not_set_gives_no_time(text: Any) -> None:
    assert value({"DateTimeOriginal": text}, "DATE-BEG") is None


def test_time_of_a_change_is_not_the_time_of_exposure() -> None:
    assert value({"DateTime": TIME}, "DATE-BEG") is None


@pytest.mark.parametrize(
    ("tags", "seconds"),
    [
        ({"ExposureTime": Fraction(4)}, 4.0),
        ({"ExposureTime": (Fraction(1, 8),)}, 0.125),
        ({"ShutterSpeedValue": Fraction(-5)}, 32.0),
        ({"ExposureTime": Fraction(0), "ShutterSpeedValue": Fraction(1)}, 0.5),
        ({"ExposureTime": float("nan")}, None),
        ({"ExposureTime": float("inf")}, None),
        ({"ExposureTime": 1e9}, None),
        ({"ExposureTime": "4"}, None),
        ({"ShutterSpeedValue": -1e300}, None),
    ],
)
def test_length_of_the_exposure(tags: dict[str, Any], seconds: float | None) -> None:
    assert value(tags, "XPOSURE") == seconds


GPS: dict[str, Any] = {
    "GPSLatitudeRef": "S",
    "GPSLatitude": (Fraction(31), Fraction(24), Fraction(0)),
    "GPSLongitudeRef": "E",
    "GPSLongitude": (Fraction(20), Fraction(36), Fraction(18)),
    "GPSAltitude": Fraction(1200),
    "GPSAltitudeRef": b"\0",
    "GPSDateStamp": "2026:11:14",
    "GPSTimeStamp": (Fraction(21), Fraction(9), Fraction(58)),
}


def test_place_and_time_of_the_receiver() -> None:
    assert value(GPS, "GPS-LAT") == -31.4
    assert value(GPS, "GPS-LON") == pytest.approx(20.605, abs=1e-9)
    assert value(GPS, "GPS-ALT") == 1200
    assert value(GPS | {"GPSAltitudeRef": b"\1"}, "GPS-ALT") == -1200
    assert value(GPS, "GPS-TIME") == "2026-11-14T21:09:58"


@pytest.mark.parametrize(
    "change",
    [
        {"GPSLatitudeRef": ""},
        {"GPSLatitude": (Fraction(91), Fraction(0), Fraction(0))},
        {"GPSLatitude": (Fraction(31), Fraction(24))},
        {"GPSLatitude": (float("nan"),) * 3},
        {"GPSLongitude": None},
        {"GPSLongitudeRef": "\x1b"},
    ],
)
def test_half_a_place_is_none(change: dict[str, Any]) -> None:
    assert value(GPS | change, "GPS-LAT") is None
    assert value(GPS | change, "GPS-LON") is None


def test_whole_seconds_are_said() -> None:
    whole, fraction, none = (
        exif_notices(exif_cards(tags))
        for tags in ({"DateTimeOriginal": TIME}, {"DateTimeOriginal": TIME, "SubSecTimeOriginal": "5"}, {})
    )
    assert [notice.code for notice in whole] == ["whole-seconds"]
    assert fraction == none == ()


@pytest.mark.parametrize("number", [0.0, 1e-7, 4.0, -31.4, 4_294_967_295.0])
def test_number_survives_its_card(number: float) -> None:
    made = card("XPOSURE", number)
    assert len(made) == 80
    assert Cards({"XPOSURE": made}).value("XPOSURE") == pytest.approx(number, abs=1e-10)


@pytest.mark.parametrize(
    ("resolution", "unit", "size_um"),
    [
        (Fraction(25_400, 6), 2, 6.0),
        (Fraction(10_000, 6), 3, 6.0),
        (Fraction(1_000, 6), 4, 6.0),
        (Fraction(25_400, 6), None, 6.0),
        (Fraction(72), 2, None),
        (Fraction(0), 2, None),
        (float("nan"), 2, None),
        (Fraction(4000), 77, None),
    ],
)
def test_size_of_a_pixel_from_the_resolution_of_the_focal_plane(
    resolution: Any, unit: Any, size_um: float | None
) -> None:
    """FocalPlaneXResolution counts pixels in FocalPlaneResolutionUnit: 2 an inch, 3 a centimetre (Exif 2.32); beyond
    the standard 4 a millimetre (from memory).
    """
    found = value({"FocalPlaneXResolution": resolution, "FocalPlaneResolutionUnit": unit}, "XPIXSZ")
    assert found == (None if size_um is None else pytest.approx(size_um, abs=1e-6))


@pytest.mark.parametrize(("seconds", "believed"), [(60_000.0, True), (100_000.0, False)])
def test_no_exposure_lasts_longer_than_a_day(seconds: float, believed: bool) -> None:
    assert (value({"ExposureTime": seconds}, "XPOSURE") is not None) is believed
