"""Places and sky coordinates as people and headers write them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from polarcheck.errors import InputError
from polarcheck.site import Site, parse_angle, parse_right_ascension, parse_site, parse_target


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("52.1", 52.1),
        (-33.5, -33.5),
        (40, 40.0),
        ("-33:52:10", -(33 + 52 / 60 + 10 / 3600)),
        ("+25 12 34.111", 25 + 12 / 60 + 34.111 / 3600),
        ("52d30m", 52.5),
        ("52d30m36s", 52.51),
        ("52°30'36\"", 52.51),
        ("52° 30′ 36″ N", 52.51),
        ("N 52 30", 52.5),
        ("52.5S", -52.5),
        ("33°52'S", -(33 + 52 / 60)),
        ("52d30m36S", -52.51),
        ("W110:52:39.0", -(110 + 52 / 60 + 39 / 3600)),
        ("11.2 e", 11.2),
        ("-0 30 0", -0.5),
        ("-00:00:36", -0.01),
        ("−33.5", -33.5),
        (".5", 0.5),
        ("52:30.6", 52.51),
    ],
)
def test_angle_is_read(text: str | float, degrees: float) -> None:
    assert parse_angle(text) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "abc",
        "52:60",
        "52:30:60",
        "52.5:30",
        "1:2:3:4",
        "-33S",
        "-1 W",
        "5e3",
        "33s",
        "--5",
        "52m",
        "N",
        "\x1b[1m",
    ]
    + [math.nan, math.inf],
)
def test_what_is_no_angle_is_refused(text: str | float) -> None:
    with pytest.raises(InputError) as caught:
        parse_angle(text)
    assert "\x1b" not in str(caught.value)


@given(
    st.integers(0, 359), st.integers(0, 59), st.integers(0, 59), st.sampled_from("+-"), st.sampled_from(": ")
)
def test_sexagesimal_angle_of_either_sign_is_the_sum_of_its_parts(
    d: int, m: int, s: int, sign: str, mark: str
) -> None:
    expected = (d * 3600 + m * 60 + s) / 3600 * (-1 if sign == "-" else 1)
    assert parse_angle(f"{sign}{d:02d}{mark}{m:02d}{mark}{s:02d}") == pytest.approx(expected, abs=1e-12)


def test_site_is_read_with_and_without_height() -> None:
    assert parse_site("47.3,11.2,900") == Site(47.3, 11.2, 900.0, "option")
    assert parse_site("47:18:00 N, 11d12mE", source="rig file") == Site(47.3, 11.2, 0.0, "rig file")
    assert parse_site("-31.4,20.6,1200m").height_m == 1200


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("47.3", "LAT,LON"),
        ("1,2,3,4", "LAT,LON"),
        ("91,0", "latitude 91"),
        ("0,361", "longitude 361"),
        ("47,11,high", "height"),
        ("47,11,nan", "height"),
        ("47,11,20000", "height"),
        ("11E,47N", "latitude first"),
        ("47,x", "no angle"),
    ],
)
def test_impossible_site_is_refused_with_its_reason(text: str, why: str) -> None:
    with pytest.raises(InputError, match=why):
        parse_site(text)


@pytest.mark.parametrize(
    ("given_deg", "kept_deg"), [(190, -170), (-190, 170), (180, 180), (-180, 180), (360, 0)]
)
def test_longitude_is_wrapped(given_deg: float, kept_deg: float) -> None:
    assert Site(0.0, given_deg).longitude_deg == kept_deg


def test_the_equator_counts_as_north() -> None:
    assert Site(0.0, 0.0).is_north
    assert not Site(-0.1, 0.0).is_north


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("83.82", 83.82),
        ("83.82d", 83.82),
        ("05:35:17.3", 15 * (5 + 35 / 60 + 17.3 / 3600)),
        ("5 35 17.3", 15 * (5 + 35 / 60 + 17.3 / 3600)),
        ("5h35m17s", 15 * (5 + 35 / 60 + 17 / 3600)),
        ("5H", 75.0),
        ("5.5h", 82.5),
        ("360", 0.0),
        ("24:00:00", 0.0),
    ],
)
def test_right_ascension_is_degrees_when_decimal_and_hours_when_sexagesimal(
    text: str, degrees: float
) -> None:
    assert parse_right_ascension(text) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize("text", ["-1", "361", "25:00:00", "5h60m", "x", "", "12h N"])
def test_impossible_right_ascension_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_right_ascension(text)


def test_target_is_read_in_both_forms() -> None:
    assert parse_target("83.82, -5.39") == (83.82, -5.39)
    ra, dec = parse_target("05:35:17.3,-05:23:28")
    assert (ra, dec) == pytest.approx((83.8220833, -5.3911111), abs=1e-7)


@pytest.mark.parametrize("text", ["83.82", "83,91", "83,-91", "a,b", "1,2,3"])
def test_impossible_target_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_target(text)
