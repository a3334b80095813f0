"""A wrong site or clock through the whole command: refused with the likely cause, or a warning.

The cases follow from the sky alone: at 47 N on a November evening, with the frames near the meridian, a site
or a clock a third of a turn away puts those stars below the horizon or the Sun above it.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import erfa
import numpy as np
import pytest

from polarcheck.simulate import Camera
from polarcheck.site import Site
from tests.commands import EVENING, answered, change, frames, refused, wrong
from tests.helpers import utc_date


def codes(result: dict[str, Any]) -> set[str]:
    return {warning["code"] for warning in result["warnings"]}


@pytest.fixture
def night(tmp_path: Path) -> Path:
    frames(tmp_path)
    return tmp_path


def change_all(folder: Path, **cards: Any) -> None:
    for path in sorted(folder.iterdir()):
        change(path, **cards)


# the site in headers and by option


def test_no_site_is_asked_for(night: Path) -> None:
    change_all(night, OBSGEO__B=None, OBSGEO__L=None, OBSGEO__H=None)
    assert "See --site LAT,LON" in refused("measure", night)
    result, _ = answered("measure", night, "--site", "47.3,11.2,900")
    assert result["site"]["source"] == "option"


@pytest.mark.parametrize("latitude", [91.0, -1e9, "north", "1e999"])
def test_impossible_site_in_the_headers_is_said(latitude: Any, night: Path) -> None:
    change_all(night, OBSGEO__B=latitude)
    assert "--site" in refused("measure", night)
    result, said = answered("measure", night, "--site", "47.3,11.2,900")
    assert result["fit"]["frames_used"] == 3
    assert result["site"]["latitude_deg"] == 47.3
    assert "Traceback" not in said


@pytest.mark.parametrize(
    "site",
    [
        "91,0",
        "47.3",
        "47.3,11.2,900,1",
        "nan,0",
        "47.3,inf",
        "1e400,0",
        "47;11",
        "",
        ",",
        "47.3,11.2,x",
        "N,E",
    ],
)
def test_impossible_site_by_option_is_a_wrong_command_line(site: str, night: Path) -> None:
    said = wrong("measure", night, "--site", site)
    assert "--site" in said


def test_headers_that_disagree_about_the_site(night: Path) -> None:
    change(night / "simulated_02.fits", OBSGEO__B=48.3)
    result, said = answered("measure", night)
    assert codes(result) - {"three-positions"} == {"site-disagreement"}
    assert "1 of 3 frames" in said
    assert result["site"]["latitude_deg"] == 47.3


# a site or a clock that the sky contradicts


def low(folder: Path, site: Site, hour: int) -> Path:
    """Frames of stars near the equator, which stand above the horizon for half a day only."""
    utc = tuple(utc_date(2026, 11, 14, hour)[0])
    frames(folder, site=site, utc=utc, declination_deg=0.0)
    return folder


def test_sign_of_the_longitude(tmp_path: Path) -> None:
    said = refused("measure", low(tmp_path, Site(47.3, 100.0), 15), "--site", "47.3,-100")
    assert "look below the horizon" in said
    assert "the longitude's sign is wrong (east is positive here)" in said


def test_sign_of_the_latitude(night: Path) -> None:
    said = refused("measure", night, "--site", "-47.3,11.2")
    assert "the latitude's sign is wrong (north is positive)" in said


def test_latitude_and_longitude_swapped(tmp_path: Path) -> None:
    utc = tuple(utc_date(2026, 11, 14, 20)[0])
    frames(tmp_path, site=Site(-33.9, 18.4), utc=utc, axis_angles_deg=[-20.0, -40.0, -60.0])
    said = refused("measure", tmp_path, "--site", "18.4,-33.9")
    assert "latitude and longitude are swapped (latitude comes first)" in said


@pytest.mark.parametrize("hours", ["11h", "-11h", "13h"])
def test_clock_half_a_day_off(hours: str, tmp_path: Path) -> None:
    said = refused("measure", low(tmp_path, Site(47.3, 11.2), 21), "--clock-ahead", hours)
    assert "look below the horizon" in said
    assert re.search(
        r"the clock ran on local time or is off by hours \(\d+h (?:ahead of|behind) UTC would do", said
    )
    assert "--clock-ahead" in said


def test_advised_clock_is_taken(tmp_path: Path) -> None:
    """What the refusal advises leads to an answer, as it says."""
    low(tmp_path, Site(47.3, 11.2), 21)
    change_all(tmp_path, DATE__OBS="2026-11-14T10:00:00")
    for i, path in enumerate(sorted(tmp_path.iterdir())):
        change(path, DATE__OBS=f"2026-11-14T10:0{i}:00")
    advised = re.search(r"\((\d+h) (ahead of|behind) UTC would do", refused("measure", tmp_path))
    assert advised
    sign = "" if advised[2] == "ahead of" else "-"
    result, _ = answered("measure", tmp_path, "--clock-ahead", sign + advised[1])
    assert "sun-up" not in codes(result)


def test_sun_well_above_the_horizon_is_refused_with_the_clock_that_makes_it_dark(night: Path) -> None:
    """In November at 47 N the Sun is up at noon; frames that far north stand above the horizon all day."""
    said = refused("measure", night, "--clock-ahead", "10h")
    assert re.search(r"the Sun stood at \+\d+ deg of altitude, so one of them is wrong", said)
    assert re.search(
        r"off by hours \(\d+h (?:ahead of|behind) UTC would do, for example, with the Sun at -\d+ deg", said
    )
    assert "--site" in said


def test_longitude_counted_westward_is_refused_and_named(tmp_path: Path) -> None:
    """A ridge 110.5 deg west whose header counts west positive: at its evening the Sun is up at 110.5 deg east."""
    frames(tmp_path, site=Site(47.3, -110.5), utc=tuple(utc_date(2026, 11, 14, 4)[0]), declination_deg=70.0)
    change_all(tmp_path, OBSGEO__L=110.5)
    said = refused("measure", tmp_path)
    assert re.search(r"the Sun stood at \+\d+ deg", said)
    assert re.search(
        r"longitude's sign is wrong \(east is positive here\): with -110.500 the Sun stood at -\d+ deg", said
    )
    result, _ = answered("measure", tmp_path, "--site", "47.3,-110.5")
    assert result["fit"]["frames_used"] == 3


def test_sun_near_the_horizon_is_said(tmp_path: Path) -> None:
    """Sunset at 47.3 N, 11.2 E on 14 November is about 15:40 UTC (almanacs, from memory)."""
    frames(tmp_path, utc=tuple(utc_date(2026, 11, 14, 15, 40)[0]), declination_deg=70.0)
    result, said = answered("measure", tmp_path)
    assert "sun-up" in codes(result)
    assert "local time? daylight saving? longitude's sign?" in said


def test_one_frame_of_two_below_the_horizon(tmp_path: Path) -> None:
    low(tmp_path, Site(47.3, 11.2), 21)
    (tmp_path / "simulated_03.fits").unlink()
    change(tmp_path / "simulated_02.fits", DATE__OBS="2026-11-15T09:00:00")
    assert "1 of 2 frames look below the horizon" in refused("measure", tmp_path)


def test_one_frame_of_four_below_the_horizon_is_left_out(tmp_path: Path) -> None:
    frames(tmp_path, 4, declination_deg=0.0)
    change(tmp_path / "simulated_02.fits", DATE__OBS="2026-11-15T09:00:00")
    result, _ = answered("measure", tmp_path)
    (left,) = [frame for frame in result["frames"] if not frame["used"]]
    assert left["file"] == "simulated_02.fits"
    assert "looks below the horizon" in left["reason"]


# beyond the bundled tables


def test_date_beyond_the_earth_rotation_table(tmp_path: Path) -> None:
    """The table's predictions reach a year ahead of its issue (readme of finals2000A), not thirty."""
    frames(tmp_path, utc=(EVENING[0] + 30 * 365, EVENING[1]))
    result, said = answered("measure", tmp_path)
    assert codes(result) - {"three-positions"} == {"earth-rotation-unknown", "clock-future"}
    assert "astropy-iers-data" in said


@pytest.mark.parametrize(
    ("site", "when"),
    [
        ("90,0", (2026, 11, 14, 21)),
        ("-90,0", (2026, 6, 14, 21)),
        ("0,0", (2026, 11, 14, 21)),
        ("0.001,180", (2026, 11, 14, 9)),
        ("89.99,-179.99", (2026, 11, 14, 21)),
        ("-0.001,0", (2026, 11, 14, 21)),
    ],
)
def test_extreme_sites_give_the_total_error(site: str, when: tuple[int, ...], tmp_path: Path) -> None:
    """With next to no azimuth error the total is the altitude error."""
    latitude, longitude = (float(part) for part in site.split(","))
    altitude_error = -20.0 if abs(latitude) > 50 else 20.0
    frames(
        tmp_path,
        site=Site(latitude, longitude),
        utc=tuple(utc_date(*when)[0]),
        error_arcmin=(1.0, altitude_error),
        declination_deg=float(np.copysign(30.0, latitude)),
        camera=Camera(400, 300, 10.0),
    )
    result, _ = answered("measure", tmp_path, f"--site={site}")
    assert result["error"]["total_arcmin"] == pytest.approx(20.0, abs=0.5)


# the air


def test_humidity_is_taken_from_the_command_line_and_must_be_a_part(night: Path) -> None:
    damp, dry = (answered("measure", night, "--humidity", part)[0] for part in ("1", "0"))
    assert (damp["atmosphere"]["relative_humidity"], dry["atmosphere"]["relative_humidity"]) == (1.0, 0.0)
    air = [damp["atmosphere"][key] for key in ("pressure_hpa", "temperature_c")]
    # ERFA's refraction constant of either air, times the tangent of a zenith distance of 72 deg: more it cannot be
    constants = [erfa.refco(*air, part, 0.55)[0] for part in (1.0, 0.0)]
    most = abs(constants[0] - constants[1]) * np.tan(np.radians(72.0)) * 60 * 180 / np.pi
    shift = abs(damp["error"]["altitude_arcmin"] - dry["error"]["altitude_arcmin"])
    assert 0 < shift < most
    assert "not within 0 to 1" in wrong("measure", night, "--humidity", "7")
