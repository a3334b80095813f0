"""What callers give: taken or refused with a clear word, never an AttributeError."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units
from astropy.coordinates import EarthLocation
from astropy.time import Time

from polarcheck import measure
from polarcheck.errors import InputError
from polarcheck.given import as_path, as_site, as_utc
from polarcheck.site import Site
from polarcheck.times import seconds_between, utc_from_iso
from tests.commands import SAMPLES, simulated, steering


@pytest.mark.parametrize(
    "given",
    [
        Site(47.3, 11.2, 900.0),
        "47.3,11.2,900",
        "47:18:00, 11:12:00, 900m",
        (47.3, 11.2, 900),
        [47.3, 11.2, 900.0],
        np.array([47.3, 11.2, 900.0]),
        EarthLocation.from_geodetic(11.2 * units.deg, 47.3 * units.deg, 0.9 * units.km),
    ],
    ids=["Site", "text", "sexagesimal", "tuple", "list", "array", "EarthLocation"],
)
def test_one_site_in_many_forms(given: Any) -> None:
    site = as_site(given)
    assert (site.latitude_deg, site.longitude_deg, site.height_m) == pytest.approx((47.3, 11.2, 900.0))


def test_site_without_height_lies_at_zero() -> None:
    assert as_site((-31.4, 20.6)).height_m == 0


MOMENT = "2026-11-14T21:10:00.25"


@pytest.mark.parametrize(
    "given",
    [
        utc_from_iso(MOMENT),
        MOMENT,
        "2026-11-14T22:10:00.25+01:00",
        datetime.datetime(2026, 11, 14, 21, 10, 0, 250_000, tzinfo=datetime.UTC),
        datetime.datetime(
            2026, 11, 14, 23, 10, 0, 250_000, tzinfo=datetime.timezone(datetime.timedelta(hours=2))
        ),
        Time(MOMENT, scale="utc"),
        Time(MOMENT, scale="utc").tt,
        Time(MOMENT, scale="utc").tdb,
    ],
)
def test_one_moment_in_many_forms(given: Any) -> None:
    """astropy's own conversion of scales stands against the package's reader of text."""
    assert seconds_between(as_utc(given), utc_from_iso(MOMENT)) == pytest.approx(0, abs=1e-4)


@pytest.mark.parametrize(
    "given", ["here", b"a", None, 3, {}, (1.0,), (1, 2, 3, 4), (np.nan, 1.0), "91,0", object()]
)
def test_no_site_is_refused_by_name(given: Any) -> None:
    with pytest.raises(InputError, match="site") as caught:
        as_site(given)
    assert not steering(str(caught.value))


@pytest.mark.parametrize(
    "given",
    [
        "yesterday",
        2460994.38,
        (2460994.5,),
        (1, 2, 3),
        None,
        datetime.datetime(2026, 11, 14),
        datetime.date(2026, 11, 14),
        Time(["2026-11-14", "2026-11-15"]),
    ],
)
def test_no_moment_is_refused(given: Any) -> None:
    with pytest.raises(InputError):
        as_utc(given)


@pytest.mark.parametrize("given", [3, None, b"a", "", ["a"], object()])
def test_no_path_is_refused_by_name(given: Any) -> None:
    with pytest.raises(InputError, match=r"^folder = "):
        as_path(given, "folder")


def test_simulation_takes_text_and_numbers(tmp_path: Path) -> None:
    made = simulated(
        str(tmp_path / "x"), error_arcmin=(10, 5), site=(47.3, 11.2), utc="2026-11-14T21:10:00", count=2
    )
    result = measure([str(path) for path in made], site="47.3,11.2")
    assert result.error.total_arcmin > 5
    assert measure(str(tmp_path / "x"), site=(47.3, 11.2)).error == result.error


@pytest.mark.parametrize(
    "wrong",
    [{"site": 5}, {"site": "nowhere"}, {"utc": 2460994.4}, {"utc": "soon"}],
)
def test_simulation_refuses_the_rest(tmp_path: Path, wrong: dict[str, Any]) -> None:
    right: dict[str, Any] = {"error_arcmin": (10, 5), "site": (47.3, 11.2), "utc": "2026-11-14T21:10:00"}
    with pytest.raises(InputError):
        simulated(tmp_path, **(right | wrong))


def test_measure_refuses_what_is_no_path_or_no_site() -> None:
    with pytest.raises(InputError, match="paths = 5 is no path"):
        measure([5])  # type: ignore[list-item]
    with pytest.raises(InputError, match="paths = 5 is no path"):
        measure(5)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="site = 5 is no site"):
        measure(SAMPLES / "north_sweep", site=5)  # type: ignore[arg-type]
