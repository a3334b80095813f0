"""The site from the several families of header keywords; their signs are the trap."""

from __future__ import annotations

from typing import Any

import erfa
import numpy as np
import pytest

from polarcheck.frames.cards import Cards
from polarcheck.frames.header_site import header_site
from tests.fits_files import raw_cards


def site_of(**cards: Any) -> tuple[float, float, float, str]:
    site, notices = header_site(Cards(raw_cards({k.replace("_", "-"): v for k, v in cards.items()})))
    assert site is not None
    assert notices == ()
    return site.latitude_deg, site.longitude_deg, site.height_m, site.source


def notice_of(**cards: Any) -> str:
    site, notices = header_site(Cards(raw_cards({k.replace("_", "-"): v for k, v in cards.items()})))
    assert site is None
    assert [notice.code for notice in notices] == ["site-unusable"]
    return notices[0].text


@pytest.mark.parametrize(
    ("latitude", "longitude", "height"),
    [
        ("OBSGEO-B", "OBSGEO-L", "OBSGEO-H"),
        ("SITELAT", "SITELONG", "SITEELEV"),
        ("SITELAT", "SITELON", "SITEALT"),
        ("SITE-LAT", "SITE-LON", "SITE-ALT"),
        ("OBSLAT", "OBSLONG", "OBSALT"),
        ("OBS-LAT", "OBS-LON", "OBS-ELEV"),
        ("LAT-OBS", "LONG-OBS", "ALT-OBS"),
        ("GEOLAT", "GEOLON", "GEOELEV"),
    ],
)
def test_every_family_is_read_decimal_and_sexagesimal(latitude: str, longitude: str, height: str) -> None:
    expected = (-31.5, 20.6, 1200.0, f"header {latitude}, {longitude}")
    assert site_of(**{latitude: -31.5, longitude: 20.6, height: 1200.0}) == expected
    assert site_of(**{latitude: "-31 30 00", longitude: "+20 36 00", height: "1200"}) == expected
    assert site_of(**{latitude: "31:30:00 S", longitude: "20d36m00s E", height: 1200}) == expected


def test_decimal_comma_is_read() -> None:
    expected = (-31.5, 20.6, 1200.5)
    assert site_of(SITELAT="-31,5", SITELONG="20,6", SITEELEV="1200,5")[:3] == expected
    assert site_of(SITELAT="-31:30:00,0", SITELONG="20,600")[1] == 20.6


def test_fits_example_of_site_strings_is_read() -> None:
    """SBFITSEXT 1.0, as quoted by the source of nom-tam-fits: strings such as "+25 12 34.111"."""
    latitude, longitude, *_ = site_of(SITELAT="+25 12 34.111", SITELONG="+11 12 00")
    assert latitude == pytest.approx(25 + 12 / 60 + 34.111 / 3600)
    assert longitude == pytest.approx(11.2)


def test_geocentric_site_is_carried_to_the_ellipsoid() -> None:
    """ERFA's own test of eraGd2gc, WGS84 (t_erfa_c.c): e 3.1, p -0.5, h 2500 m."""
    x, y, z = -5599000.5577050, 233011.6722348, -3040909.4706983
    latitude, longitude, height, source = site_of(OBSGEO_X=x, OBSGEO_Y=y, OBSGEO_Z=z)
    assert np.radians((latitude, longitude)) == pytest.approx((-0.5, 3.1), abs=1e-12)
    assert height == pytest.approx(2500, abs=1e-6)
    assert source == "header OBSGEO-X, -Y, -Z"


@pytest.mark.parametrize("comment", ["[deg west]", "Longitude, degrees West", "west longitude"])
def test_card_that_says_west_is_west_positive(comment: str) -> None:
    """[deg west] as in public FITS tools; '+110:52:39.0' west as on the fitsbits list, 2000-11."""
    assert site_of(SITELAT=32.0, SITELONG=("+110:52:39.0", comment))[1] == pytest.approx(
        -(110 + 52 / 60 + 39 / 3600)
    )


@pytest.mark.parametrize("comment", ["[deg east]", "[deg] west is negative", "west negative", ""])
def test_other_longitudes_are_east_positive(comment: str) -> None:
    assert site_of(SITELAT=32.0, SITELONG=(-110.5, comment))[1] == -110.5
    assert site_of(LATITUDE=32.0, LONGITUD=249.5)[1] == -110.5


def test_altitude_counts_as_a_height_only_in_metres() -> None:
    cards = {"LATITUDE": 47.3, "LONGITUD": 11.2}
    assert site_of(**cards, ALTITUDE=(900.0, "[m] above sea"))[2] == 900
    assert site_of(**cards, ALTITUDE=(45.0, "altitude of the telescope"))[2] == 0


def test_standard_keywords_win_and_a_broken_family_gives_way() -> None:
    assert site_of(SITELAT=1.0, SITELONG=2.0, OBSGEO_B=47.3, OBSGEO_L=11.2)[0] == 47.3
    assert site_of(SITELAT=1.0, SITELONG=2.0, OBSGEO_B="?", OBSGEO_L=11.2)[0] == 1.0


@pytest.mark.parametrize(
    ("cards", "why"),
    [
        ({"SITELAT": 95.0, "SITELONG": 11.0}, "latitude 95"),
        ({"SITELAT": "north", "SITELONG": 11.0}, "SITELAT = 'north'"),
        ({"SITELAT": "a\\x1b", "SITELONG": 11.0}, "SITELAT"),
        ({"SITELAT": 0.0, "SITELONG": 0.0}, "both 0"),
        ({"OBSGEO_X": 0.0, "OBSGEO_Y": 0.0, "OBSGEO_Z": 0.0}, "so not set"),
        ({"OBSGEO_X": 1.0, "OBSGEO_Y": 2.0, "OBSGEO_Z": 3.0}, "height"),
        ({"SITELAT": True, "SITELONG": 11.0}, "no angle"),
    ],
)
def test_unusable_site_is_said_and_not_guessed(cards: dict[str, Any], why: str) -> None:
    text = notice_of(**cards)
    assert why in text
    assert "Say it instead" in text


@pytest.mark.parametrize("cards", [{}, {"SITELAT": 47.3}, {"SITELAT": "", "SITELONG": ""}, {"OBSGEO_X": 1.0}])
def test_header_without_site_gives_none_quietly(cards: dict[str, Any]) -> None:
    assert header_site(Cards(raw_cards({k.replace("_", "-"): v for k, v in cards.items()}))) == (None, ())


def test_impossible_height_costs_the_height_only() -> None:
    site, notices = header_site(Cards(raw_cards({"SITELAT": 47.3, "SITELONG": 11.2, "SITEELEV": -9999.0})))
    assert site is not None
    assert site.height_m == 0
    assert [notice.code for notice in notices] == ["height-unusable"]


def test_geocentric_and_geodetic_cards_of_one_place_agree() -> None:
    x, y, z = erfa.gd2gc(1, np.radians(20.6), np.radians(-31.4), 1200.0)
    geocentric = site_of(OBSGEO_X=x, OBSGEO_Y=y, OBSGEO_Z=z)
    assert geocentric[:3] == pytest.approx((-31.4, 20.6, 1200.0), abs=1e-6)
