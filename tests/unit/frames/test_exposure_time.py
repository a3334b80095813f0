"""Mid-exposure from the several ways in which headers tell it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from polarcheck.errors import FrameError
from polarcheck.frames import Frame, read_frame
from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.frames.clock import Clock
from polarcheck.frames.exposure_time import mid_exposure
from polarcheck.times import iso_from_utc
from tests.fits_files import TAN, raw_cards, write_image

START = "2026-11-14T20:00:00"


def middle(clock_ahead_s: float = 0.0, **cards: Any) -> str:
    made = raw_cards({k.replace("_", "-"): v for k, v in cards.items()})
    return iso_from_utc(mid_exposure(Cards(made), Clock(clock_ahead_s))[0])


@pytest.mark.parametrize(
    ("cards", "expected"),
    [
        ({"DATE_AVG": START, "DATE_OBS": "2020-01-01T00:00:00", "EXPTIME": 30.0}, "2026-11-14T20:00:00.00Z"),
        ({"MJD_AVG": 61358.75, "DATE_OBS": START, "EXPTIME": 30.0}, "2026-11-14T18:00:00.00Z"),
        ({"DATE_BEG": START, "DATE_END": "2026-11-14T20:01:00", "EXPTIME": 30.0}, "2026-11-14T20:00:30.00Z"),
        ({"DATE_BEG": START, "TELAPSE": 40.0, "XPOSURE": 30.0}, "2026-11-14T20:00:20.00Z"),
        ({"DATE_OBS": START, "XPOSURE": 30.0, "EXPTIME": 10.0}, "2026-11-14T20:00:15.00Z"),
        ({"DATE_OBS": START, "EXPOSURE": 20.0}, "2026-11-14T20:00:10.00Z"),
        ({"DATE_OBS": START, "EXPTIME": "10.0"}, "2026-11-14T20:00:05.00Z"),
        ({"MJD_OBS": 61358.75, "EXPTIME": 10.0}, "2026-11-14T18:00:05.00Z"),
        ({"MJD_BEG": 61358.75, "EXPTIME": 10.0, "DATE_OBS": START}, "2026-11-14T18:00:05.00Z"),
        ({"DATE_OBS": "2026-11-14", "TIME_OBS": "20:00:00", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "2026-11-14", "UT": "20:00:00.5", "EXPTIME": 10.0}, "2026-11-14T20:00:05.50Z"),
        ({"DATE_OBS": "2026-11-14", "UTC": START, "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "2026-11-14", "UTSTART": "20:00:00", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "2026-11-14", "MJD_OBS": 61358.75, "EXPTIME": 10.0}, "2026-11-14T18:00:05.00Z"),
        ({"DATE_OBS": "14/11/97", "TIME_OBS": "20:00:00", "EXPTIME": 10.0}, "1997-11-14T20:00:05.00Z"),
        ({"DATE_OBS": START + "+01:00", "EXPTIME": 10.0}, "2026-11-14T19:00:05.00Z"),
        ({"DATE_OBS": START, "EXPTIME": 10.0, "TIMESYS": "TT"}, "2026-11-14T19:58:55.82Z"),
        ({"DATE_OBS": START, "EXPTIME": 10.0, "TIMESYS": "TAI"}, "2026-11-14T19:59:28.00Z"),
        ({"DATE_OBS": START, "EXPTIME": 10.0, "TIMESYS": "GPS"}, "2026-11-14T19:59:47.00Z"),
        ({"DATE_OBS": START, "EXPTIME": 10.0, "TIMESYS": "utc"}, "2026-11-14T20:00:05.00Z"),
        *(
            ({"DATE_OBS": "2026-11-14", clock: "20:00:00.5", "EXPTIME": 9.0}, "2026-11-14T20:00:05.00Z")
            for clock in (
                "UTC_OBS",
                "UT_OBS",
                "UTCSTART",
                "UTSTART",
                "UT_START",
                "UT",
                "UTC",
                "TIME_OBS",
            )
        ),
        ({"DATE_OBS": "2026/11/14", "UT": "20:00:00", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "2026/11/14T20:00:00", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "2026/11/14 20:00:00", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "2026-11-14", "UT": "2026/11/15T20:00:00", "EXPTIME": 10.0}, "2026-11-15T20:00:05.00Z"),
        ({"DATE_OBS": "14/11/2026", "UT": "20:00:00", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "11/14/2026", "UT": "20:00:00", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "11/11/2026 20:00:00", "EXPTIME": 10.0}, "2026-11-11T20:00:05.00Z"),
        ({"DATE_OBS": "2026-11-14T20:00:00,25", "EXPTIME": 10.0}, "2026-11-14T20:00:05.25Z"),
        ({"DATE_OBS": "2026-11-14", "UT": "20:00:00,25", "EXPTIME": 10.0}, "2026-11-14T20:00:05.25Z"),
        ({"DATE_OBS": "2026-11-14", "UT": "20 00 00", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "2026-11-14", "UT": "20h00m00s", "EXPTIME": 10.0}, "2026-11-14T20:00:05.00Z"),
        ({"DATE_OBS": "2026-11-14", "UT": 20.25, "EXPTIME": 10.0}, "2026-11-14T20:15:05.00Z"),
        ({"DATE_OBS": "2026-11-14", "UT": "20,25", "EXPTIME": 10.0}, "2026-11-14T20:15:05.00Z"),
        ({"JD_OBS": 2461359.25, "EXPTIME": 10.0}, "2026-11-14T18:00:05.00Z"),
        ({"JD": 2461359.25, "EXPTIME": 10.0}, "2026-11-14T18:00:05.00Z"),
        ({"JD": "2461359,25", "EXPTIME": 10.0}, "2026-11-14T18:00:05.00Z"),
        ({"JD": (2461359.25, "mid exposure"), "EXPTIME": 10.0}, "2026-11-14T18:00:00.00Z"),
        ({"MJD": 61358.75, "EXPTIME": 10.0}, "2026-11-14T18:00:05.00Z"),
        ({"DATE_OBS": "04/05/26", "MJD_OBS": 61358.75, "EXPTIME": 10.0}, "2026-11-14T18:00:05.00Z"),
    ],
)
def test_middle_follows_from_what_the_header_says_best(cards: dict[str, Any], expected: str) -> None:
    """TT - UTC is 69.184 s and TAI - UTC 37 s since 2017 (IERS Bulletin C, from memory)."""
    assert middle(**cards) == expected


@pytest.mark.parametrize(
    ("cards", "seconds"),
    [
        ({"EXP": 10.0}, 10.0),
        ({"EXPOINUS": 1500000}, 1.5),
        ({"EXPTIME": "10 s"}, 10.0),
        ({"EXPTIME": "10.5sec"}, 10.5),
        ({"EXPTIME": "500 ms"}, 0.5),
        ({"EXPOSURE": "2 min"}, 120.0),
        ({"EXPTIME": "0.5 h"}, 1800.0),
        ({"EXPTIME": "2500000 us"}, 2.5),
        ({"EXPTIME": "10,5"}, 10.5),
        ({"EXPTIME": "10,5 s"}, 10.5),
        ({"EXPTIME": (2500.0, "[ms] exposure time")}, 2.5),
        ({"EXPTIME": (2.5, "[s] exposure time")}, 2.5),
        ({"EXPTIME": (2.5, "[adu] nonsense")}, 2.5),
        ({"EXPTIME": 8.0, "EXP": 10.0}, 8.0),
        ({"EXPTIME": "1,200"}, None),
        ({"EXPTIME": "10 px"}, None),
        ({"EXP": "none"}, None),
    ],
)
def test_length_of_exposure_is_read_as_it_is_written(cards: dict[str, Any], seconds: float | None) -> None:
    assert mid_exposure(Cards(raw_cards({"DATE-OBS": START, **cards})))[1] == seconds


@pytest.mark.parametrize(
    ("written", "seconds"), [("10,5 / seconds", 10.5), ("10.5 s", 10.5), ("500ms  / x", 0.5), ("+,5", None)]
)
def test_value_without_quotes_that_is_no_number_of_the_standard(written: str, seconds: float | None) -> None:
    cards = raw_cards({"DATE-OBS": START}) | {"EXPTIME": f"EXPTIME = {written}".ljust(80).encode()}
    assert mid_exposure(Cards(cards))[1] == seconds


def test_clock_without_quotes_is_read() -> None:
    cards = raw_cards({"DATE-OBS": "2026-11-14"}) | {"UT": b"UT      = 20:00:00.5 / start".ljust(80)}
    assert iso_from_utc(mid_exposure(Cards(cards))[0]) == "2026-11-14T20:00:00.50Z"


def test_clock_ahead_is_taken_off_every_time() -> None:
    assert middle(3600.0, DATE_OBS=START, EXPTIME=10.0) == "2026-11-14T19:00:05.00Z"
    assert middle(-2.5, DATE_AVG=START) == "2026-11-14T20:00:02.50Z"
    assert middle(3600.0, DATE_OBS=START, EXPTIME=10.0, TIMESYS="LOCAL") == "2026-11-14T19:00:05.00Z"


@pytest.mark.parametrize("exposure", [None, 0.0, -5.0, "unknown", 1e9, True])
def test_unknown_exposure_is_said_with_its_cost(tmp_path: Path, exposure: Any) -> None:
    frame = read_frame(write_image(tmp_path / "a.fits", EXPTIME=exposure))
    assert iso_from_utc(frame.utc) == "2026-11-14T20:13:45.12Z"
    assert frame.exposure_s is None
    assert [notice.code for notice in frame.notices] == ["exposure-unknown"]
    assert "15.04 arcsec" in frame.notices[0].text


@pytest.mark.parametrize(
    ("cards", "why"),
    [
        ({}, "no time of exposure.*DATE-OBS"),
        ({"DATE_OBS": ""}, "no time of exposure"),
        ({"DATE_OBS": "2026-11-14"}, "holds a date but no time of day"),
        ({"DATE_OBS": "yesterday"}, "DATE-OBS: 'yesterday'"),
        ({"DATE_OBS": "2026-02-30T00:00:00"}, "no valid day"),
        ({"DATE_OBS": "14/11/26", "TIME_OBS": "20:00:00"}, "ambiguous"),
        ({"DATE_OBS": "04/05/06", "TIME_OBS": "20:00:00"}, "ambiguous"),
        ({"DATE_OBS": "04/05/2026", "TIME_OBS": "20:00:00"}, "ambiguous"),
        ({"DATE_OBS": "2026-11-14", "UT": 24.5}, "no valid hour|no date and time"),
        ({"DATE_OBS": "2026-11-14", "UT": 20}, "no date and time"),
        ({"JD": 61358.75}, "was the clock set"),
        ({"JD": (2461359.25, "heliocentric")}, "not the time at the site"),
        ({"DATE_OBS": "1904-01-01T00:00:00"}, "was the clock set"),
        ({"DATE_OBS": "2101-01-01T00:00:00"}, "was the clock set"),
        ({"MJD_OBS": 1e300}, "was the clock set|calendar"),
        ({"MJD_OBS": "soon"}, "MJD-OBS = 'soon' is no number"),
        ({"DATE_OBS": START, "TIMESYS": "LOCAL"}, "state the zone of that clock"),
        ({"DATE_OBS": START, "TIMESYS": "MOON"}, "time scale 'MOON'"),
        ({"DATE_BEG": START, "DATE_END": "2026-11-14T19:00:00"}, "DATE-END"),
        ({"DATE_OBS": "2026-11-14", "TIME_OBS": "25:00:00"}, "no valid hour"),
    ],
)
def test_missing_or_impossible_time_says_what_to_mend(cards: dict[str, Any], why: str) -> None:
    with pytest.raises(UnusableError, match=why):
        middle(**cards)


def test_frame_without_time_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FrameError, match="no time of exposure"):
        read_frame(write_image(tmp_path / "a.fits", TAN))


def test_half_a_minute_of_exposure_moves_the_middle_by_15_seconds(tmp_path: Path) -> None:
    def frame(seconds: float) -> Frame:
        return read_frame(write_image(tmp_path / f"{seconds}.fits", EXPTIME=seconds))

    shift = (frame(60.0).utc[1] - frame(30.0).utc[1]) * 86400
    assert shift == pytest.approx(15, abs=1e-5)


def test_mjd_keeps_a_millisecond() -> None:
    cards = Cards({"MJD-AVG": b"MJD-AVG = 61358.8427675926".ljust(80)})
    utc = mid_exposure(cards)[0]
    assert iso_from_utc(utc) == "2026-11-14T20:13:35.12Z"


@pytest.mark.parametrize(
    ("seconds", "expected"), [(60_000.0, "2026-11-15T04:20:00.00Z"), (100_000.0, START + ".00Z")]
)
def test_no_exposure_lasts_longer_than_a_day(seconds: float, expected: str) -> None:
    """Its length is unknown then, as if the header said nothing."""
    assert middle(DATE_OBS=START, EXPTIME=seconds) == expected


def test_old_form_with_a_year_before_any_camera_is_no_date() -> None:
    """dd/mm/yy of the FITS Standard means 19yy; 45 may be 1945 or 2045, or no year at all."""
    with pytest.raises(UnusableError, match="ambiguous"):
        middle(DATE_OBS="14/11/45", TIME_OBS="20:00:00")
