"""What a command is given as the alignment."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from polarcheck.alignment import read_alignment
from polarcheck.errors import InputError
from polarcheck.measurement.conditions import Conditions
from polarcheck.measurement.measurement import measure
from polarcheck.measurement.source import alignment_from, given_alignment
from polarcheck.report.objects import json_text, measurement_object
from polarcheck.site import Site
from polarcheck.sky.observed import Sky
from tests.commands import ERROR, NORTH, SOUTH, frames
from tests.helpers import DEG, altitude_of


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("night")
    frames(made)
    return made


@pytest.fixture
def kept(folder: Path, tmp_path: Path) -> Path:
    path = tmp_path / "kept.json"
    path.write_text(json_text(measurement_object(measure([folder]))), encoding="utf-8")
    return path


@pytest.mark.parametrize(("site", "pole_azimuth_deg"), [(NORTH, 0.0), (SOUTH, 180.0)])
def test_said_error_puts_the_axis_there(site: Site, pole_azimuth_deg: float) -> None:
    # without air the pole stands at the latitude, and 30 arcmin are half a degree
    axis = given_alignment((30.0, -12.0), Sky.over(site, pressure_hpa=0.0)).axis
    azimuth_deg = np.arctan2(axis[0], axis[1]) / DEG % 360
    assert azimuth_deg == pytest.approx(pole_azimuth_deg + 0.5, abs=1e-9)
    assert altitude_of(axis) / DEG == pytest.approx(abs(site.latitude_deg) - 0.2, abs=1e-9)


def test_said_error_refers_to_the_pole_that_was_asked_for() -> None:
    # at latitude 45 refraction lifts the pole by 57.9 arcsec at 1010 hPa, 10 C (ERFA; Bennett 59.7, from memory)
    site = Site(45.0, 0.0)
    lifted, plain = (
        given_alignment((0.0, 0.0), Sky.over(site, 1010.0, 10.0), pole) for pole in ("refracted", "true")
    )
    height_arcsec = (altitude_of(lifted.axis) - altitude_of(plain.axis)) / DEG * 3600
    assert height_arcsec == pytest.approx(57.9, abs=0.5)
    assert (lifted.pole_kind, plain.pole_kind) == ("refracted", "true")
    for said in (lifted, plain):
        assert said.error.total_arcmin == pytest.approx(0.0, abs=1e-9)
        assert said.covariance is None


def test_said_error_takes_the_site_of_the_option_before_that_of_the_rig_file() -> None:
    both = alignment_from([], error_arcmin=(1.0, 2.0), conditions=Conditions(fallback_site=SOUTH, site=NORTH))
    assert (both.alignment.site, both.notices) == (NORTH, ())
    rig_only = Conditions(fallback_site=SOUTH)
    found = alignment_from([], error_arcmin=(1.0, 2.0), conditions=rig_only).alignment
    assert found.site == SOUTH
    assert found.error.azimuth_arcmin == pytest.approx(1.0)
    assert found.error.altitude_arcmin == pytest.approx(2.0)


def test_nothing_two_things_or_an_error_without_a_site_are_refused(folder: Path) -> None:
    with pytest.raises(InputError, match="give a folder of solved frames"):
        alignment_from([])
    with pytest.raises(InputError, match="not both"):
        alignment_from([folder], error_arcmin=(1.0, 2.0), conditions=Conditions(site=NORTH))
    with pytest.raises(InputError, match="needs a site"):
        alignment_from([], error_arcmin=(1.0, 2.0))


def test_folder_is_measured(folder: Path) -> None:
    named = alignment_from([folder])
    found = named.alignment
    assert named.measurement is not None
    assert named.measurement.alignment is found
    # frames with 0.05 px of noise at 20 arcsec/px; the simulated error is the truth
    assert found.error.azimuth_arcmin == pytest.approx(ERROR[0], abs=5 * found.error.azimuth_sigma_arcmin)
    assert found.error.altitude_arcmin == pytest.approx(ERROR[1], abs=5 * found.error.altitude_sigma_arcmin)
    assert found.last_frame == sorted(path.name for path in folder.iterdir())[-1]


def test_kept_result_is_read_whatever_the_case_of_its_ending(kept: Path) -> None:
    upper = kept.with_name("OTHER.JSON")
    kept.rename(upper)
    named = alignment_from([upper])
    found = named.alignment
    assert found.error.azimuth_arcmin == pytest.approx(ERROR[0], abs=5 * found.error.azimuth_sigma_arcmin)
    assert (named.notices, named.measurement) == ((), None)


def test_kept_result_can_be_set_against_the_other_pole(kept: Path) -> None:
    refracted = alignment_from([kept]).alignment
    true = alignment_from([kept], pole="true").alignment
    lift = true.error.altitude_arcmin - refracted.error.altitude_arcmin
    # 58 arcsec x 0.9 (for the pressure at 900 m) x cot(47.3 deg) = 48 arcsec; common rule, from memory
    assert lift == pytest.approx(0.8, abs=0.05)
    assert np.array_equal(true.axis, refracted.axis)


def test_result_that_was_read_before_serves_like_its_file(kept: Path) -> None:
    read = read_alignment(kept)
    assert alignment_from(read).alignment is read
    again = alignment_from(read, pole="true", conditions=Conditions(site=SOUTH))
    assert again.alignment.pole_kind == "true"
    assert [notice.code for notice in again.notices] == ["kept-site"]


def test_damaged_result_names_its_file(kept: Path) -> None:
    content = json.loads(kept.read_text(encoding="utf-8"))
    del content["axis"]
    kept.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(InputError, match=r"kept\.json: is damaged at axis"):
        alignment_from([kept])
