"""An evening practised whole, at the commands: simulate, measure, correct, turn, follow, and a sweep that goes on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.commands import answered, refused, run, wrong

RIG = """[mount.azimuth]
arcmin_per_turn = 50.0
backlash_turns = 0.125
clockwise_moves = "east"
[mount.altitude]
arcmin_per_turn = 50.0
backlash_turns = 0.125
clockwise_moves = "up"
[camera]
width_px = 320
height_px = 240
pixel_size_um = 6.0
[optics]
focal_length_mm = 62.5
"""


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("evening")
    (folder / "rig.toml").write_text(RIG, encoding="utf-8")
    made = run(
        *("simulate", folder / "night", "--error", "40,-25", "--site", "47.3,11.2"),
        *("--at", "2026-11-14T20:10:00", "--rig", folder / "rig.toml", "--noise-px", "0.02"),
    )
    assert made.exit_code == 0, made.output
    assert run("measure", folder / "night", "--out", folder / "first.json").exit_code == 0
    return folder


def turned(evening: Path, name: str, before: str, *options: str) -> dict[str, Any]:
    made = run("simulate", evening / name, "--after", evening / before, *options)
    assert made.exit_code == 0, made.output
    truth: dict[str, Any] = json.loads((evening / name / "truth.json").read_text(encoding="utf-8"))
    return truth


def test_evening_ends_near_the_pole_and_every_follow_finds_the_truth(evening: Path) -> None:
    before = "first.json"
    for step in range(8):
        advice = answered("correct", evening / before)[0]["next"]
        if advice["action"] == "stop":
            break
        truth = turned(evening, f"after_{step}", before, "--turned", "told", "--seed", "4")
        assert len(truth["frames"]) == len(advice["frames"])
        result = f"result_{step}.json"
        followed, _ = answered(
            *(
                "follow",
                evening / before,
                evening / f"after_{step}",
                "--turned",
                "told",
                "--out",
                evening / result,
            )
        )
        for knob in ("azimuth", "altitude"):
            off = followed["error"][f"{knob}_arcmin"] - truth["error"][f"{knob}_arcmin"]
            assert abs(off) < 5 * followed["error"][f"{knob}_sigma_arcmin"]
        before = result
    assert advice["action"] == "stop"
    assert truth["error"]["total_arcmin"] < 0.7


def test_hidden_knobs_follow_from_the_seed(evening: Path) -> None:
    one, again, other = (
        turned(evening, f"seed_{i}", "first.json", "--turned=-0.5,1/4", "--seed", seed, "--take", "0")
        for i, seed in enumerate(("1", "1", "2"))
    )
    assert one["error"] == again["error"] != other["error"]
    assert all(abs(gain / 50 - 1) <= 0.25 for gain in one["knobs"]["arcmin_per_turn"])


def test_sweep_that_goes_on_keeps_what_the_night_taught(evening: Path, tmp_path: Path) -> None:
    turned(evening, "sweep", "first.json", "--turned=-0.7,0.5", "--seed", "3", "--take", "0,-20,-40,-60")
    out = tmp_path / "second.json"
    answer, _ = answered(
        *("measure", evening / "sweep", "--after", evening / "first.json", "--turned=-0.7,1/2", "--out", out)
    )
    assert [step["turned"] for step in answer["history"]] == [None, [-0.7, 0.5]]
    correction, _ = answered("correct", out, "--rig", evening / "rig.toml")
    assert correction["response"]["corrections_learned_from"] == 1
    truth = json.loads((evening / "sweep" / "truth.json").read_text(encoding="utf-8"))
    gains = truth["knobs"]["arcmin_per_turn"]
    for i in range(2):
        assert correction["response"]["arcmin_per_turn"][i][i] == pytest.approx(gains[i], rel=0.2)


def test_earlier_sweep_does_not_go_on_from_a_later_one(evening: Path) -> None:
    assert "is not earlier" in refused("measure", evening / "night", "--after", evening / "first.json")
    assert "--after" in wrong("measure", evening / "night", "--turned", "0,0")


def test_command_line_of_simulate_is_one_or_the_other(evening: Path) -> None:
    assert "--after" in wrong("simulate", evening / "x", "--site", "47.3,11.2")
    assert "--after" in wrong(
        *("simulate", evening / "x", "--error", "1,1", "--at", "2026-11-14T20:10:00", "--turned", "1,1")
    )


def test_correct_and_follow_end_with_the_next_command(evening: Path) -> None:
    shown = run("correct", evening / "first.json").stdout.replace("\\\n", " ")
    last = " ".join(shown[shown.index("Then: ") :].split())
    assert last.startswith("Then: polarcheck follow")
    assert "--turned told" in last
    assert last.endswith("first_2.json")
