"""Headers that count longitude westward without saying so: the other cards vote, by astropy's sidereal time and altitudes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import astropy.units as u
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.io import fits
from astropy.time import Time
from astropy.wcs import WCS

from polarcheck.site import Site
from tests.commands import answered, change, frames
from tests.helpers import utc_date

WEST = Site(47.3, -110.5, 900.0)
ALL = ("LST", "OBJCTHA", "ALT")


@pytest.fixture
def night(tmp_path: Path) -> Path:
    """Three frames near midnight at 110.5 deg west, so dark on either side of the Earth's night; see `told`."""
    frames(tmp_path, site=WEST, utc=tuple(utc_date(2026, 12, 14, 12, 30)[0]), declination_deg=70.0)
    return tmp_path


def told(folder: Path, kinds: tuple[str, ...], longitude: float, **wrong: Any) -> None:
    """Have the headers name a longitude, and say of the telescope what astropy finds at 110.5 deg west."""
    place = EarthLocation(lat=WEST.latitude_deg * u.deg, lon=WEST.longitude_deg * u.deg, height=900 * u.m)
    for path in sorted(folder.glob("simulated_*")):
        with fits.open(path) as hdus:
            cards = hdus[0].header
            centre = SkyCoord(
                *WCS(cards, fix=False).wcs_pix2world(cards["NAXIS1"] / 2, cards["NAXIS2"] / 2, 0), unit=u.deg
            )
            when = Time(cards["DATE-OBS"], scale="utc", location=place)
        sidereal = when.sidereal_time("apparent")
        seen = centre.transform_to(AltAz(obstime=when, location=place))
        said = {
            "LST": {"LST": sidereal.to_string(unit=u.hour, sep=":", precision=1)},
            "OBJCTHA": {"OBJCTHA": float((sidereal - centre.ra).wrap_at(180 * u.deg).hour)},
            "ALT": {"OBJCTALT": float(seen.alt.deg), "OBJCTAZ": float(seen.az.deg)},
        }
        chosen = {key: value for kind in kinds for key, value in said[kind].items()}
        change(path, OBSGEO__L=longitude, **(chosen | wrong))


@pytest.mark.parametrize("kinds", [ALL, ("LST",), ("OBJCTHA",), ("ALT",), ("LST", "ALT")])
def test_other_cards_decide_on_the_sign(night: Path, kinds: tuple[str, ...]) -> None:
    told(night, kinds, 110.5)
    result, said = answered("measure", night)
    assert result["site"]["longitude_deg"] == -110.5
    assert "longitude-sign" in {warning["code"] for warning in result["warnings"]}
    assert "110.500 deg west of Greenwich" in " ".join(said.split())


def test_one_wrong_card_is_outvoted(night: Path) -> None:
    told(night, ALL, 110.5, LST="3:00:00")
    result, said = answered("measure", night)
    assert result["site"]["longitude_deg"] == -110.5
    assert "hour angle, altitude and azimuth" in " ".join(said.split())


@pytest.mark.parametrize("kinds", [ALL, (), ("LST",)])
def test_right_sign_stays_without_a_word(night: Path, kinds: tuple[str, ...]) -> None:
    told(night, kinds, -110.5)
    result, _ = answered("measure", night)
    assert result["site"]["longitude_deg"] == -110.5
    assert "longitude-sign" not in {warning["code"] for warning in result["warnings"]}


def test_one_card_against_two_is_not_followed_but_said(night: Path) -> None:
    place = EarthLocation(lat=47.3 * u.deg, lon=110.5 * u.deg)
    told(night, ALL, -110.5)
    for path in sorted(night.glob("simulated_*")):
        when = Time(fits.getheader(path)["DATE-OBS"], scale="utc", location=place)
        change(path, LST=when.sidereal_time("apparent").to_string(unit=u.hour, sep=":"))
    result, said = answered("measure", night)
    assert result["site"]["longitude_deg"] == -110.5
    assert "sidereal time would fit 110.500" in " ".join(said.split())


def test_site_that_is_named_is_taken_as_it_is(night: Path) -> None:
    told(night, ALL, 110.5)
    result, _ = answered("measure", night, "--site", "47.3,-110.5")
    assert result["site"]["source"] == "option"


@pytest.mark.parametrize("value", ["", "soon", True, 1e300, "\x1b[31m"[-4:], -999.0])
def test_card_that_says_nothing_has_no_vote(night: Path, value: Any) -> None:
    told(night, (), -110.5, LST=value, OBJCTHA=value, OBJCTALT=value, OBJCTAZ=value)
    result, _ = answered("measure", night)
    assert result["site"]["longitude_deg"] == -110.5
