"""``polarcheck measure`` as it is used: its JSON, its text, its files, and its words for directions.

The truth of the sample frames is the axis of the mount that they were rendered for (sample_frames/README.md).
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.commands import SAMPLES, answered, change, frames, run, strict_json, wrong
from tests.helpers import enu, separation_arcsec

FOLDERS = ["north_sweep", "south_sweep", "tracked_only", "after_correction"]
NUMBER, TEXT, WHOLE, FLAG = (float, int), str, int, bool
each_folder = pytest.mark.parametrize("folder", FOLDERS)

# the keys that scripts rely on, and what they hold
KEYS: dict[str, Any] = {
    "schema": TEXT,
    "site": {"latitude_deg": NUMBER, "longitude_deg": NUMBER, "height_m": NUMBER, "source": TEXT},
    "epoch_utc": TEXT,
    "pole": {"kind": TEXT, "azimuth_deg": NUMBER, "altitude_deg": NUMBER},
    "axis": {
        "azimuth_deg": NUMBER,
        "altitude_deg": NUMBER,
        "right_ascension_deg": NUMBER,
        "declination_deg": NUMBER,
    },
    "error": {
        "azimuth_arcmin": NUMBER,
        "altitude_arcmin": NUMBER,
        "azimuth_on_sky_arcmin": NUMBER,
        "total_arcmin": NUMBER,
        "azimuth_sigma_arcmin": NUMBER,
        "altitude_sigma_arcmin": NUMBER,
        "correlation": NUMBER,
        "azimuth_95_arcmin": NUMBER,
        "altitude_95_arcmin": NUMBER,
    },
    "fit": {
        "frames_used": WHOLE,
        "frames_left_out": WHOLE,
        "residual_rms_arcsec": NUMBER,
        "degrees_of_freedom": WHOLE,
        "arc_deg": NUMBER,
    },
    "frames": [
        {
            "file": TEXT,
            "used": FLAG,
            "reason": type(None),
            "mid_exposure_utc": TEXT,
            "group": WHOLE,
            "axis_angle_deg": NUMBER,
            "residual_arcsec": NUMBER,
        }
    ],
    "warnings": [{"code": TEXT, "text": TEXT}],
}


def check_keys(value: Any, keys: Any, where: str = "") -> None:
    if isinstance(keys, dict):
        assert isinstance(value, dict), where
        for key, inner in keys.items():
            assert key in value, f"{where}.{key}"
            check_keys(value[key], inner, f"{where}.{key}")
    elif isinstance(keys, list):
        assert isinstance(value, list), where
        for item in value:
            check_keys(item, keys[0], where)
    else:
        assert isinstance(value, keys), where
        assert keys is FLAG or not isinstance(value, bool), where


def truth_of(folder: Path) -> dict[str, Any]:
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return truth


def assert_recovers(error: dict[str, float], true: dict[str, float]) -> None:
    """Within 5 sigma + 0.05 arcmin."""
    for name in ("azimuth", "altitude"):
        off = abs(error[f"{name}_arcmin"] - true[f"{name}_arcmin"])
        assert off < 5 * error[f"{name}_sigma_arcmin"] + 0.05, name


# the JSON


@each_folder
def test_object_has_its_keys_and_the_truth(folder: str) -> None:
    result, _ = answered("measure", SAMPLES / folder)
    check_keys(result, KEYS)
    assert result["schema"] == "polarcheck.measure/1"
    truth = truth_of(SAMPLES / folder)
    assert result["pole"] == pytest.approx(truth["pole"], abs=1e-3)
    assert_recovers(result["error"], truth["error"])
    assert [frame["file"] for frame in result["frames"]] == [frame["file"] for frame in truth["frames"]]


@each_folder
def test_object_is_consistent_with_the_conventions(folder: str) -> None:
    result, _ = answered("measure", SAMPLES / folder)
    error, axis, pole = result["error"], result["axis"], result["pole"]
    azimuth_deg = (axis["azimuth_deg"] - pole["azimuth_deg"] + 180) % 360 - 180
    assert error["azimuth_arcmin"] == pytest.approx(azimuth_deg * 60, abs=1e-6)
    assert error["altitude_arcmin"] == pytest.approx((axis["altitude_deg"] - pole["altitude_deg"]) * 60)
    on_sky = error["azimuth_arcmin"] * np.cos(np.radians(axis["altitude_deg"]))
    assert error["azimuth_on_sky_arcmin"] == pytest.approx(on_sky, rel=1e-9)
    there, here = (enu(np.radians(p["azimuth_deg"]), np.radians(p["altitude_deg"])) for p in (axis, pole))
    assert error["total_arcmin"] == pytest.approx(separation_arcsec(there, here) / 60, rel=1e-6)
    assert -1 <= error["correlation"] <= 1
    assert 0 < error["azimuth_sigma_arcmin"] < error["azimuth_95_arcmin"]
    used = [frame for frame in result["frames"] if frame["used"]]
    assert result["fit"]["frames_used"] == len(used)
    assert result["epoch_utc"] == used[-1]["mid_exposure_utc"]
    assert datetime.fromisoformat(result["epoch_utc"]).year == 2026


def test_true_pole_lies_below_the_refracted_one() -> None:
    """Altitude of the true pole: the latitude. Refraction lifts a star at 47 deg by 49 arcsec under a
    thinner air of 910 hPa (58.2 arcsec times cot 47 deg times 910/1010; common practice, from memory)."""
    refracted, _ = answered("measure", SAMPLES / "north_sweep")
    true, _ = answered("measure", SAMPLES / "north_sweep", "--pole", "true")
    assert true["pole"] == {"kind": "true", "azimuth_deg": 0, "altitude_deg": pytest.approx(47.3)}
    lift = (true["error"]["altitude_arcmin"] - refracted["error"]["altitude_arcmin"]) * 60
    assert lift == pytest.approx(49, abs=2)
    assert true["error"]["azimuth_arcmin"] == pytest.approx(refracted["error"]["azimuth_arcmin"], abs=1e-9)


def test_pressure_zero_switches_refraction_off() -> None:
    result, _ = answered("measure", SAMPLES / "north_sweep", "--pressure", "0")
    assert result["atmosphere"]["pressure_hpa"] == 0
    assert result["pole"]["kind"] == "refracted"
    assert result["pole"]["altitude_deg"] == pytest.approx(47.3, abs=1e-9)


def test_two_frames_are_answered_by_an_assumed_noise() -> None:
    files = sorted((SAMPLES / "north_sweep").glob("*.fz"))
    result, said = answered("measure", files[0], files[-1])
    check_keys(result, KEYS)
    assert [warning["code"] for warning in result["warnings"]] == ["assumed-noise"]
    assert "no redundancy" in said
    assert result["fit"]["degrees_of_freedom"] == 0
    assert all(result["error"][f"{name}_sigma_arcmin"] > 0 for name in ("azimuth", "altitude"))
    assert_recovers(result["error"], truth_of(SAMPLES / "north_sweep")["error"])


def test_every_file_is_listed_in_order_of_time_and_unreadable_ones_last(tmp_path: Path) -> None:
    paths = frames(tmp_path, 5)
    for path, name in zip(paths, "edcba", strict=True):
        path.rename(tmp_path / f"{name}.fits")
    change(tmp_path / "c.fits", CTYPE1=None, CTYPE2=None)
    (tmp_path / "0_notes.fits").write_text("cold tonight")
    result, _ = answered("measure", tmp_path)
    assert [frame["file"][0] for frame in result["frames"]] == ["e", "d", "c", "b", "a", "0"]
    assert [frame["used"] for frame in result["frames"]] == [True, True, False, True, True, False]
    times = [frame["mid_exposure_utc"] for frame in result["frames"]]
    assert times[-1] is None
    assert times[:-1] == sorted(times[:-1])
    for frame in result["frames"]:
        assert (frame["reason"] is None) == frame["used"]
    assert (result["fit"]["frames_used"], result["fit"]["frames_left_out"]) == (4, 2)


# the files it writes


def test_kept_result_is_the_printed_one(tmp_path: Path) -> None:
    kept = tmp_path / "result.json"
    printed = run("measure", SAMPLES / "south_sweep", "--json", "--out", kept).stdout
    assert strict_json(kept.read_text(encoding="utf-8")) == strict_json(printed)
    assert [path.name for path in tmp_path.iterdir()] == ["result.json"]


def test_place_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    for option, name in (("--out", "result.json"), ("--plot", "axis.png"), ("--plot", "axis.svg")):
        result = run("measure", SAMPLES / "north_sweep", option, tmp_path / "gone" / name)
        assert (result.exit_code, result.stdout) == (1, "")
        assert f"{name}: " in " ".join(result.stderr.split())
    assert "must end in .png or .svg" in wrong("measure", SAMPLES / "north_sweep", "--plot", "axis.txt")


def test_picture_is_written_in_both_formats(tmp_path: Path) -> None:
    for name, start in (("axis.png", b"\x89PNG\r\n\x1a\n"), ("axis.svg", b"<?xml")):
        assert run("measure", SAMPLES / "north_sweep", "--plot", tmp_path / name).exit_code == 0
        assert (tmp_path / name).read_bytes().startswith(start)
