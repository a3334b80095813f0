"""The words of ``polarcheck measure``, its options, practice frames, and the same job in a notebook.

Directions follow docs/conventions.md: a positive azimuth error is clockwise seen from above, so too far east in
the north and too far west in the south; the knob must go the other way. East is on the right of somebody who
faces north, on the left of somebody who faces south.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from polarcheck import measure
from tests.commands import SAMPLES, answered, frames, run, wrong

NORTH, SOUTH = "47.3,11.2,900", "-31.4,20.6,1200"
EVENING = "2026-11-14T21:10:00"


def simulated(folder: Path, error: str, site: str, *more: str) -> dict[str, float]:
    """Write practice frames by the command; return their true error."""
    result = run("simulate", folder, "--error", error, f"--site={site}", "--at", EVENING, *more)
    assert result.exit_code == 0, result.output
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return dict(truth["error"])


def spoken(*arguments: object) -> str:
    result = run("measure", *arguments)
    assert result.exit_code == 0, result.output
    return re.sub(r"\s+", " ", result.stdout)


def assert_directions(said: str, azimuth: float, altitude: float, north: bool) -> None:
    """The words that signs of the true error ask for."""
    too_far_east = (azimuth > 0) == north
    assert f"too far {'east' if too_far_east else 'west'}" in said
    assert f"too {'high' if altitude > 0 else 'low'}" in said
    swing = "west" if too_far_east else "east"
    hand = "right" if (swing == "east") == north else "left"
    assert re.search(rf"swing the axis [\d.]+ arcmin {swing} \({hand}, facing the pole\)", said)
    assert f"and {'lower' if altitude > 0 else 'raise'} it by" in said


# words


@pytest.mark.parametrize("folder", ["north_sweep", "south_sweep", "tracked_only", "after_correction"])
def test_directions_of_the_sample_frames(folder: str) -> None:
    truth = json.loads((SAMPLES / folder / "truth.json").read_text(encoding="utf-8"))
    error, north = truth["error"], truth["site"]["latitude_deg"] > 0
    assert_directions(spoken(SAMPLES / folder), error["azimuth_arcmin"], error["altitude_arcmin"], north)


@pytest.mark.parametrize("north", [True, False])
@pytest.mark.parametrize("azimuth", [40.0, -40.0])
@pytest.mark.parametrize("altitude", [25.0, -25.0])
def test_directions_of_every_quadrant(azimuth: float, altitude: float, north: bool, tmp_path: Path) -> None:
    simulated(tmp_path, f"{azimuth},{altitude}", NORTH if north else SOUTH, "--frames", "3")
    assert_directions(spoken(tmp_path), azimuth, altitude, north)


def test_no_line_is_wider_than_a_terminal(tmp_path: Path) -> None:
    for path in frames(tmp_path, 4):
        path.rename(path.with_name("a_rather_long_name_of_a_target_and_filter_" * 2 + path.name))
    for folder in [tmp_path, *(truth.parent for truth in SAMPLES.glob("*/truth.json"))]:
        result = run("measure", folder, "--zone", "+01:00")  # the pictures name none
        assert result.exit_code == 0
        assert max(map(len, (result.stdout + result.stderr).splitlines())) <= 80


# options


@pytest.mark.parametrize(
    "site", [["--site", "-31.4,20.6"], ["--site=-31.4,20.6"], ["--site", "-31:24:00,20:36:00"]]
)
def test_site_may_begin_with_a_minus(site: list[str]) -> None:
    result, _ = answered("measure", SAMPLES / "south_sweep", *site)
    assert result["site"]["latitude_deg"] == pytest.approx(-31.4)
    assert result["site"]["longitude_deg"] == pytest.approx(20.6)
    assert result["site"]["source"] == "option"


@pytest.mark.parametrize("error", [["--error", "-23.4,5"], ["--error=-23.4,5"]])
def test_error_may_begin_with_a_minus(error: list[str], tmp_path: Path) -> None:
    command = ["simulate", str(tmp_path), *error, "--site", "-33,18", "--at", EVENING, "--frames", "2"]
    assert run(*command).exit_code == 0
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert truth["error"]["azimuth_arcmin"] == pytest.approx(-23.4)
    assert truth["site"]["latitude_deg"] == -33


def test_temperature_and_clock_may_begin_with_a_minus() -> None:
    result, _ = answered(
        "measure", SAMPLES / "north_sweep", "--temperature", "-12.5", "--clock-ahead", "-30s"
    )
    assert result["atmosphere"]["temperature_c"] == -12.5
    assert result["epoch_utc"].startswith("2026-11-14T21:15:2")


@pytest.mark.parametrize(
    "options",
    [
        ["--pole", "south"],
        ["--pressure", "-1"],
        ["--pressure", "nan"],
        ["--temperature", "inf"],
        ["--noise-px", "0"],
        ["--noise-px", "nan"],
        ["--clock-ahead", "soon"],
        ["--nonsense"],
    ],
)
def test_wrong_option_is_named(options: list[str]) -> None:
    assert options[0] in wrong("measure", SAMPLES / "north_sweep", *options)


def test_command_without_frames_is_wrong() -> None:
    assert "FOLDER|FILES" in wrong("measure")
    assert "--site" in wrong("simulate", "practice", "--error", "1,1", "--at", EVENING)


# practice frames


@pytest.mark.parametrize(
    ("error", "site", "more"),
    [
        ("23.4,-11.8", NORTH, []),
        ("-31.2,17.6", SOUTH, []),
        ("23.4,-11.8", NORTH, ["--mirrored"]),
        ("-31.2,17.6", SOUTH, ["--mirrored", "--pole", "true"]),
        ("23.4,-11.8", NORTH, ["--tracked", "--frames", "15"]),
        ("0,0", NORTH, ["--declination", "-10"]),
        ("300,-200", NORTH, []),
    ],
)
def test_measure_recovers_what_was_simulated(error: str, site: str, more: list[str], tmp_path: Path) -> None:
    true = simulated(tmp_path, error, site, *more, "--seed", "3")
    pole = ["--pole", "true"] if "true" in more else []
    found = answered("measure", tmp_path, *pole)[0]["error"]
    for name in ("azimuth", "altitude"):
        off = abs(found[f"{name}_arcmin"] - true[f"{name}_arcmin"])
        assert off < 5 * found[f"{name}_sigma_arcmin"] + 0.05, (name, found)


# the same in a notebook


def test_three_lines_of_the_library_give_the_same_numbers() -> None:
    shown = answered("measure", SAMPLES / "north_sweep")[0]
    result = measure(SAMPLES / "north_sweep")
    for name, value in shown["error"].items():
        assert getattr(result.error, name) == value
    assert shown["axis"]["azimuth_deg"] == result.axis_azimuth_deg
    assert shown["axis"]["altitude_deg"] == result.axis_altitude_deg
    assert [frame["file"] for frame in shown["frames"]] == [entry.name for entry in result.entries]
