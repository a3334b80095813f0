"""What every command prints with --json, against the files in docs/schemas.

Validated by the jsonschema package (JSON Schema, draft 2020-12). Here a key that the file does not describe is a
fault too; the files leave that open, since later versions add keys.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import typer

from polarcheck.cli.app import app
from tests.commands import NORTH, SAMPLES, answered, frames, run, strict_json
from tests.write_schemas import FOLDER

SITE = f"{NORTH.latitude_deg},{NORTH.longitude_deg},{NORTH.height_m}"
TARGET = ("--target", "M31", "--at", "2026-11-14T22:00:00")
LENS = ("--focal-length", "250", "--pixel-size", "6", "--sensor", "1200x900")
GIVEN = ("--error", "12,-7", "--site", SITE)
RIG = """
[optics]
focal_length_mm = 250.0
[camera]
pixel_size_um = 6.0
width_px = 1200
height_px = 900
[guiding]
offset_deg = [0.5, -0.25]
[mount]
periodic_error_arcsec = 20.0
worm_period_s = 480.0
clamp_shift_arcmin = [0.5, -1.0]
[mount.azimuth]
kind = "opposed bolts"
arcmin_per_turn = 50.0
backlash_turns = 0.1
clockwise_moves = "east"
[mount.altitude]
thread_pitch_mm = 1.5
lever_mm = 120.0
travel_arcmin = 600.0
[site]
latitude_deg = 47.3
longitude_deg = 11.2
"""


def closed(value: Any) -> Any:
    """A JSON Schema that allows no key which it does not describe."""
    if isinstance(value, list):
        return [closed(part) for part in value]
    if not isinstance(value, dict):
        return value
    content = {key: closed(part) for key, part in value.items()}
    if isinstance(content.get("properties"), dict) and content.get("type") == "object":
        content["additionalProperties"] = False
    return content


def hold(value: Any, name: str) -> None:
    """The value is what docs/schemas/NAME.json describes."""
    content = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(closed(content)).validate(value)
    kind = "event" if name.startswith("event-") else name  # events share the name of their schema
    assert value["schema"] == f"polarcheck.{kind}/1"


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with frames, a kept result, a followed one and a rig file."""
    folder = tmp_path_factory.mktemp("night")
    (folder / "rig.toml").write_text(RIG, encoding="utf-8")
    paths = frames(folder / "frames", count=5)
    hold(answered("measure", *paths[:4], "--out", folder / "kept.json")[0], "measure")
    follow = ("follow", folder / "kept.json", paths[4], "--turned", "0.5,-0.25", "--tracking", "on")
    hold(answered(*follow, "--out", folder / "next.json")[0], "follow")
    return folder


def test_kept_files_hold_what_was_printed_and_where_the_frame_lies(night: Path) -> None:
    for name in ("measure", "follow"):
        file = night / ("kept.json" if name == "measure" else "next.json")
        kept = strict_json(file.read_text(encoding="utf-8"))
        hold(kept, name)
        assert kept["camera"]["last_frame_file"]["relative"].startswith("frames/")


def test_measure_with_files_left_out(tmp_path: Path) -> None:
    paths = frames(tmp_path, count=5)
    (tmp_path / "copy.fits").write_bytes(paths[0].read_bytes())
    paths[3].write_bytes(b"")
    answer = answered("measure", tmp_path, "--pole", "true")[0]
    assert {frame["used"] for frame in answer["frames"]} == {True, False}
    hold(answer, "measure")


@pytest.mark.parametrize("folder", ["north_sweep", "south_sweep"])
def test_measure_and_stars_of_the_sample_frames(folder: str) -> None:
    hold(answered("measure", SAMPLES / folder)[0], "measure")
    hold(answered("stars", SAMPLES / folder)[0], "stars")


def test_solve_where_all_is_solved(tmp_path: Path) -> None:
    frames(tmp_path, count=2)
    hold(answered("solve", tmp_path)[0], "solve")


def test_night_and_the_lines_of_watch(tmp_path: Path) -> None:
    frames(tmp_path, count=5)
    watched = run("watch", tmp_path, "--until-done", "--goal", "60", "--json")
    lines = [json.loads(line) for line in watched.stdout.splitlines()]
    assert [line["event"] for line in lines] == ["measured", "advice"]
    for line in lines:
        hold(line, f"event-{line['event']}")
    answer = answered("night", tmp_path)[0]
    assert answer["events"] == lines
    hold(answer, "night")


def test_stars_of_a_file_that_is_none(tmp_path: Path) -> None:
    paths = frames(tmp_path, count=2)
    paths[1].write_bytes(b"")
    hold(answered("stars", tmp_path)[0], "stars")


@pytest.mark.parametrize("kept", ["kept.json", "next.json"])
@pytest.mark.parametrize("rig", [(), ("--rig", "rig.toml")])
def test_correct(night: Path, kept: str, rig: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(night)
    hold(answered("correct", kept, *rig)[0], "correct")


def test_correct_with_a_mark_on_the_sensor(night: Path) -> None:
    answer = answered("correct", SAMPLES / "north_sweep", "--rig", night / "rig.toml")[0]
    assert answer["star_target"] is not None
    hold(answer, "correct")


@pytest.mark.parametrize("of", [("kept.json",), GIVEN], ids=["measured", "given"])
@pytest.mark.parametrize(
    ("name", "command"),
    [
        ("drift", ("drift", *TARGET, "--for", "10min")),
        ("exposure", ("exposure", *TARGET, *LENS)),
        ("exposure", ("exposure", *TARGET, *LENS, "--guided", "--want", "10min")),
        ("exposure", ("exposure", *TARGET, *LENS, "--tolerance", "10000arcsec")),
        ("exposures", ("exposure", "--targets", "list.txt", "--at", "2026-11-14T22:00:00", *LENS)),
        ("map", ("map", *LENS, "--guided")),
        ("timeline", ("timeline", *TARGET, *LENS)),
    ],
)
def test_outlook(
    night: Path, of: tuple[str, ...], name: str, command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(night)
    (night / "list.txt").write_text("M31\nM42\n83.0,-80.0\n", encoding="utf-8")
    answer = answered(command[0], *of, *command[1:])[0]
    hold(answer, name)
    assert ("required" in answer) == ("--want" in command)


def test_drift_check() -> None:
    alignment = SAMPLES / "north_sweep"
    hold(answered("drift", alignment, "--check", SAMPLES / "tracked_only")[0], "drift-check")


@pytest.mark.parametrize("text", [RIG, ""], ids=["full", "empty"])
def test_rig(tmp_path: Path, text: str) -> None:
    (tmp_path / "rig.toml").write_text(text, encoding="utf-8")
    hold(answered("rig", "show", tmp_path / "rig.toml")[0], "rig")


@pytest.mark.parametrize("time", ["2026-11-14T20:00:00", "2026-11-14T13:00:00", "2033-06-21T12:00:00"])
@pytest.mark.parametrize("site", [SITE, "-31.4,20.6", "70,0"])
def test_planning(time: str, site: str) -> None:
    hold(answered("rough", f"--site={site}", "--at", time)[0], "rough")
    hold(answered("plan", f"--site={site}", "--at", time)[0], "plan")
    hold(answered("plan", f"--site={site}", "--at", time, "--tracked")[0], "plan-tracked")


def test_truth_of_simulated_and_of_sample_frames(tmp_path: Path) -> None:
    made = run("simulate", tmp_path / "made", *GIVEN, "--at", "2026-11-14T20:00:00", "--frames", "2")
    assert made.exit_code == 0
    for path in (tmp_path / "made" / "truth.json", *SAMPLES.glob("*/truth.json")):
        hold(strict_json(path.read_text(encoding="utf-8")), "truth")


def with_json(command: Any, name: str = "") -> Iterator[str]:
    """Names of the commands that have --json."""
    if hasattr(command, "list_commands"):
        context = typer.Context(command)
        for part in command.list_commands(context):
            yield from with_json(command.get_command(context, part), f"{name} {part}".strip())
    elif any("--json" in parameter.opts for parameter in command.params):
        yield name


def test_no_command_with_json_is_left_out() -> None:
    tested = {
        "rough",
        "plan",
        "solve",
        "measure",
        "correct",
        "follow",
        "drift",
        "exposure",
        "map",
        "timeline",
        "stars",
        "report",
        "rig show",
        "night",
        "watch",
    }
    assert set(with_json(typer.main.get_command(app))) == tested


def test_wrong_kinds_and_unknown_keys_would_be_seen(night: Path) -> None:
    answer = json.loads((night / "kept.json").read_text(encoding="utf-8"))
    for change in ({"later": 1}, {"warnings": None}, {"epoch_utc": 5.0}):
        with pytest.raises(jsonschema.ValidationError):
            hold(answer | change, "measure")


def loaded(*arguments: str) -> set[str]:
    """Modules that a command loads, in an interpreter of its own."""
    code = "import sys, atexit; sys.argv[0] = 'polarcheck'; from polarcheck.cli import main\n"
    code += "atexit.register(lambda: print(*sys.modules, file=sys.stderr)); main()"
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True
    )
    return set(done.stderr.split())


def test_schemas_load_only_for_json() -> None:
    """Making the models takes some 80 ms; text needs none of them."""
    sweep = str(SAMPLES / "north_sweep")
    assert "polarcheck.schema" not in loaded("--help")
    assert "polarcheck.schema" not in loaded("measure", sweep, "--no-night")
    assert "polarcheck.measurement.schema" in loaded("measure", sweep, "--json")
