"""Results in a notebook: short reprs, dicts under the keys of the JSON, tables with units, pictures."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from astropy import units as u
from astropy.table import QTable
from astropy.time import Time

import polarcheck
from polarcheck import (
    Measurement,
    Outlook,
    correct,
    follow,
    measure,
    optics_from,
    read_frames,
    read_result,
    simulate_frames,
)
from polarcheck.alignment import kept_text
from polarcheck.errors import InputError
from polarcheck.measurement.schema import MeasurementSchema
from tests.commands import SAMPLES, frames
from tests.write_schemas import FOLDER

OPTICS = optics_from(None, focal_length_mm=250, pixel_size_um=6, sensor_px=(1200, 900))
EVENING = "2026-11-14T22:00:00"


@pytest.fixture(scope="module")
def sweep(tmp_path_factory: pytest.TempPathFactory) -> Measurement:
    """Of five files one is a copy and one is empty."""
    folder = tmp_path_factory.mktemp("sweep")
    paths = frames(folder, 5)
    (folder / "copy.fits").write_bytes(paths[0].read_bytes())
    paths[3].write_bytes(b"")
    return measure(folder)


@pytest.fixture(scope="module")
def ahead(sweep: Measurement) -> Outlook:
    return Outlook(sweep.alignment, OPTICS, 5.0)


@pytest.fixture(scope="module")
def results(sweep: Measurement, ahead: Outlook) -> dict[str, Any]:
    return {
        "measure": sweep,
        "drift": ahead.drift("M31", EVENING, 600),
        "exposure": ahead.exposure("M31", EVENING),
        "map": ahead.map(),
        "timeline": ahead.timeline("M31", EVENING),
        "follow": follow(measure(SAMPLES / "north_sweep").alignment, SAMPLES / "after_correction"),
    }


KINDS = ["measure", "follow", "drift", "exposure", "map", "timeline"]


@pytest.mark.parametrize("kind", KINDS)
def test_repr_fits_a_line_or_two(results: dict[str, Any], kind: str) -> None:
    text = repr(results[kind])
    assert len(text) < 160
    assert "\n" not in text
    assert text.startswith(type(results[kind]).__name__ + "(")


def test_other_reprs_are_short(sweep: Measurement) -> None:
    frame_set = read_frames(SAMPLES / "north_sweep")
    for thing in (sweep.alignment, sweep.fit, frame_set, frame_set.frames[0]):
        assert len(repr(thing)) < 120
    assert f"{sweep.error.azimuth_arcmin:+.3f} ± " in repr(sweep)


@pytest.mark.parametrize("kind", KINDS)
def test_dict_has_the_keys_that_the_schema_describes(results: dict[str, Any], kind: str) -> None:
    content = results[kind].to_dict()
    json.dumps(content, allow_nan=False)
    schema = json.loads((FOLDER / f"{kind}.json").read_text(encoding="utf-8"))
    schema["required"] = [key for key in schema["required"] if key in content]
    schema["additionalProperties"] = False
    assert len(content) > 4
    jsonschema.Draft202012Validator(schema).validate(content)


@pytest.mark.parametrize("kind", ["measure", "follow"])
def test_dict_of_what_knows_its_site_is_the_whole_json(results: dict[str, Any], kind: str) -> None:
    assert results[kind].to_dict()["schema"] == f"polarcheck.{kind}/1"


def test_table_of_a_measurement(sweep: Measurement) -> None:
    table = sweep.table()
    assert isinstance(table, QTable)
    assert len(table) == 6
    used = np.asarray(table["used"])
    assert used.sum() == 4
    assert table["axis_angle"].unit == u.deg
    assert table["residual"].unit == u.arcsec
    assert np.isfinite(table["axis_angle"][used]).all()
    assert np.isnan(table["residual"][~used]).all()
    assert isinstance(table["mid_exposure"], Time)
    first = table["mid_exposure"][used][0]
    assert str(first.utc.isot)[:19] == sweep.to_dict()["frames"][0]["mid_exposure_utc"][:19]
    assert table["mid_exposure"].mask.sum() == 1  # the empty file
    assert [bool(text) for text in table["reason"]] == [not was for was in used]


def test_table_of_a_drift(results: dict[str, Any]) -> None:
    drift = results["drift"]
    table = drift.table()
    assert table["t"][-1] == 600 * u.s
    step = (table["east"][1] - table["east"][0]) / (table["t"][1] - table["t"][0])
    assert step.to_value(u.arcsec / u.min) == pytest.approx(drift.rates.east_arcsec_per_min, rel=0.05)


def test_tables_of_map_and_night(results: dict[str, Any]) -> None:
    cells, night = results["map"].table(), results["timeline"].table()
    assert (cells["altitude"] >= 4.9 * u.deg).all()
    assert len(cells) == np.count_nonzero(~np.isnan(results["map"].limit_s))
    cell = cells[0]
    row = np.flatnonzero(results["map"].declination_deg == cell["declination"].value)[0]
    column = np.flatnonzero(results["map"].hour_angle_deg == cell["hour_angle"].value)[0]
    assert results["map"].limit_s[row, column] == cell["limit"].value
    assert night["time"][0].isot[:16] == results["timeline"].to_dict()["rows"][0]["utc"][:16]
    assert (np.diff(night["time"].jd) > 0).all()


@pytest.mark.parametrize("kind", ["measure", "drift", "map", "timeline"])
def test_plot_is_shown_and_saved(results: dict[str, Any], kind: str, tmp_path: Path) -> None:
    figure = results[kind].plot(str(tmp_path / "it.png"))
    png = b"\x89PNG"  # ISO/IEC 15948, 5.2
    assert (tmp_path / "it.png").read_bytes().startswith(png)
    assert figure._repr_png_().startswith(png)
    results[kind].plot(tmp_path / "it.svg")
    assert "<svg" in (tmp_path / "it.svg").read_text(encoding="utf-8")
    with pytest.raises(InputError):
        results[kind].plot(tmp_path / "nowhere" / "it.png")


def test_kept_result_comes_back(sweep: Measurement, tmp_path: Path) -> None:
    path = tmp_path / "kept.json"
    path.write_text(kept_text(MeasurementSchema.of(sweep, tmp_path)), encoding="utf-8")
    read = read_result(str(path))
    assert read.error.azimuth_arcmin == pytest.approx(sweep.error.azimuth_arcmin, abs=1e-9)
    assert Outlook(read, OPTICS, 5.0).drift("M31", EVENING, 60).east_arcsec[-1] != 0
    with pytest.raises(InputError, match="no path"):
        read_result(5)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "target", ["Nowhere Galaxy", 5, (1.0,), (400.0, 0.0), (10.0, 95.0), None, ("a", "b")]
)
def test_no_target_is_refused_in_words(ahead: Outlook, target: Any) -> None:
    with pytest.raises(InputError, match=r"target|catalogue|name"):
        ahead.exposure(target, EVENING)


def test_target_and_moment_in_many_forms(ahead: Outlook) -> None:
    from astropy.coordinates import SkyCoord

    whole = ahead.exposure((83.822, -5.391), "2026-11-14T23:00:00").limit_s
    place = SkyCoord(83.822 * u.deg, -5.391 * u.deg)
    assert ahead.exposure(place, Time("2026-11-14T23:00:00")).limit_s == pytest.approx(whole, rel=1e-6)
    assert ahead.exposure("83.822,-5.391", Time("2026-11-14T23:00:00").tt).limit_s == pytest.approx(
        whole, rel=1e-6
    )


@pytest.mark.parametrize(
    "wrong",
    [
        lambda sweep: Outlook(5, OPTICS, 5.0),
        lambda sweep: Outlook(sweep, None, 5.0),
        lambda sweep: Outlook(sweep, OPTICS, "1px"),
        lambda sweep: Outlook(sweep, OPTICS, 5.0).drift("M31", EVENING, "soon"),
        lambda sweep: correct("kept.json"),
        lambda sweep: correct(sweep, 5),
        lambda sweep: follow("kept.json", SAMPLES / "after_correction"),
        lambda sweep: measure(SAMPLES / "north_sweep", pole="celestial"),
        lambda sweep: simulate_frames("x", error_arcmin="12,-7", site=(47.3, 11.2), utc=EVENING),
        lambda sweep: simulate_frames("x", error_arcmin=12, site=(47.3, 11.2), utc=EVENING),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(sweep: Measurement, wrong: Callable[[Any], Any]) -> None:
    with pytest.raises(InputError):
        wrong(sweep)


def test_results_serve_where_an_alignment_does(sweep: Measurement) -> None:
    assert correct(sweep).moves == correct(sweep.alignment).moves
    moments = Outlook(sweep, OPTICS, 5.0).drift("M31", EVENING, "10min")
    assert moments.seconds[-1] == 600


def test_package_loads_nothing_of_it_before_it_is_asked() -> None:
    code = "import sys, polarcheck; polarcheck.Measurement; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert not loaded & {"polarcheck.report", "matplotlib", "pydantic", "astropy.table"}
    assert "polarcheck.presenting" in loaded


def test_names_for_notebooks_are_public() -> None:
    names = {"Alignment", "Outlook", "correct", "follow", "measure", "optics_from", "read_result", "read_rig"}
    assert names <= set(polarcheck.__all__)
