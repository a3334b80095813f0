"""A night at the commands: turn, follow, learn, keep; loose clamps; opposed bolts; beyond the travel."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polarcheck.constants import DEGREE, SIDEREAL_RATE
from polarcheck.simulate import Camera, KnobMount, mount_attitudes, write_frame
from polarcheck.site import Site
from polarcheck.sky.air import standard_atmosphere
from polarcheck.sky.observed import Sky
from polarcheck.times import add_seconds, utc_from_iso
from polarcheck.vectors import rotation_matrix
from tests.brute_force import axis_of
from tests.commands import refused, run

SITE = Site(47.3, 11.2, 900.0)
AIR = standard_atmosphere(SITE.height_m)
CAMERA = Camera(width_px=1200, height_px=900, pixel_scale_arcsec=4.95)
RIG = """# knobs of the demo rig
[mount.azimuth]
arcmin_per_turn = 50.0  # as the maker says
clockwise_moves = "east"
backlash_turns = 0.125
[mount.altitude]
arcmin_per_turn = 50.0
clockwise_moves = "up"
backlash_turns = 0.125
"""


class Night:
    """A mount at the commands, noise-free; frames and results in one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.rig = folder, folder / "knobs.toml"
        self.rig.write_text(RIG, encoding="utf-8")
        axis = axis_of(SITE, Sky(SITE, AIR).refracted_pole.altitude_deg, (60.0, -45.0))
        gains = np.array([44.0, 57.0])
        wide = np.array([0.125, 0.125])
        self.mount = KnobMount(axis, True, np.eye(3), gains, wide, wide / 2)
        self.utc, self.results = utc_from_iso("2026-11-14T20:00:00"), 0
        angles = np.array([10.0, 25.0, 40.0, 55.0]) * DEGREE
        attitudes = mount_attitudes(axis, True, angles, 35 * DEGREE, 0.3)
        paths = [self.shoot(f"sweep_{i}", attitude) for i, attitude in enumerate(attitudes)]
        self.attitude = attitudes[-1]
        self.kept = self.folder / "first.json"
        assert run("measure", *paths, "--out", self.kept).exit_code == 0

    def shoot(self, name: str, attitude: np.ndarray) -> Path:
        self.utc = add_seconds(self.utc, 60.0)
        path = self.folder / f"{name}.fits.fz"
        write_frame(path, attitude, utc=self.utc, sky=Sky(SITE, AIR), camera=CAMERA)
        return path

    def turn(self, azimuth: float, altitude: float, *options: str) -> Any:
        """Turn both knobs, follow with a frame, and return the command's result."""
        for knob, turns in ((1, altitude), (0, azimuth)):
            if turns:
                self.turn_knob(knob, turns)
        return self.follow(azimuth, altitude, *options)

    def turn_knob(self, knob: int, turns: float) -> None:
        self.mount, moved = self.mount.turned(knob, turns)
        self.attitude = moved @ self.attitude

    def follow(self, azimuth: float, altitude: float, *options: str) -> Any:
        self.attitude = rotation_matrix(self.mount.axis, -SIDEREAL_RATE * 60.0) @ self.attitude
        self.results += 1
        frame = self.shoot(f"after_{self.results}", self.attitude)
        out = self.folder / f"result_{self.results}.json"
        turned = f"{azimuth},{altitude}"
        result = run(
            "follow", self.kept, frame, "--turned", turned, "--rig", self.rig, "--out", out, *options
        )
        self.kept = out
        return result


@pytest.fixture
def night(tmp_path: Path) -> Night:
    return Night(tmp_path)


def test_learned_knobs_are_written_back_with_the_comments_kept(night: Night) -> None:
    for azimuth, altitude in ((-1.0, 0.6), (-0.4, 0.3), (0.35, -0.4)):
        assert night.turn(azimuth, altitude).exit_code == 0
    result = run("correct", night.kept, "--rig", night.rig, "--keep-response")
    assert result.exit_code == 0
    text = night.rig.read_text(encoding="utf-8")
    assert "# knobs of the demo rig" in text
    assert "# as the maker says" in text
    knobs = tomllib.loads(text)["mount"]
    assert knobs["azimuth"]["arcmin_per_turn"] == pytest.approx(44.0, rel=0.05)
    assert knobs["altitude"]["arcmin_per_turn"] == pytest.approx(57.0, rel=0.05)
    assert knobs["azimuth"]["clockwise_moves"] == "east"
    assert knobs["azimuth"]["backlash_turns"] == pytest.approx(0.125, abs=0.03)
    assert "Backlash of the azimuth knob" in " ".join(result.stdout.split())
    assert "azimuth knob" in result.stderr
    assert run("rig", "show", night.rig).exit_code == 0


def test_nothing_learned_is_not_written(night: Night) -> None:
    said = refused("correct", night.kept, "--rig", night.rig, "--keep-response")
    assert "nothing was learned" in said
    assert night.rig.read_text(encoding="utf-8") == RIG
    assert "--rig" in refused("correct", "--error", "5,5", "--site", "47.3,11.2", "--keep-response")


def test_shift_by_tightening_is_measured_kept_and_allowed_for(night: Night) -> None:
    """Tightening moves the axis by 3 arcmin east and 2 down; both knobs' own turns stand for it here."""
    assert night.turn(-1.0, 0.6, "--loose").exit_code == 0
    loose = night.kept
    shift = np.array([3.0, -2.0]) / night.mount.gains
    # the clamps' own motion, not the knobs': play is on one side for azimuth and crossed for altitude
    night.mount = replace(night.mount, play=np.array([0.0625, -0.0625]))
    for knob in (0, 1):
        night.turn_knob(knob, float(shift[knob]))
    seen = night.follow(0.0, 0.0, "--keep-shift", "--json")
    assert seen.exit_code == 0, seen.output
    found = json.loads(seen.stdout)["clamp_shift"]
    assert found["azimuth_arcmin"] == pytest.approx(3.0, abs=0.1)
    assert found["altitude_arcmin"] == pytest.approx(-2.0, abs=0.1)
    kept = tomllib.loads(night.rig.read_text(encoding="utf-8"))["mount"]["clamp_shift_arcmin"]
    assert kept == pytest.approx([3.0, -2.0], abs=0.1)
    plain = json.loads(run("correct", night.kept, "--rig", night.rig, "--json").stdout)
    allowed = json.loads(run("correct", loose, "--rig", night.rig, "--json").stdout)
    for a, b in zip(plain["moves"], allowed["moves"], strict=True):
        assert a["move_arcmin"] == pytest.approx(b["move_arcmin"], abs=0.1)
    assert "loose" in run("correct", loose, "--rig", night.rig).stdout


def test_shift_is_not_kept_where_none_was_seen(night: Night) -> None:
    result = night.turn(-0.5, 0.3, "--keep-shift")
    assert result.exit_code == 1
    assert "--turned 0,0" in " ".join(result.stderr.split())
    assert night.rig.read_text(encoding="utf-8") == RIG


def test_opposed_bolts_and_travel_are_said(tmp_path: Path) -> None:
    rig = tmp_path / "bolts.toml"
    rig.write_text(
        "[mount.azimuth]\nkind = 'opposed bolts'\nthread_pitch_mm = 1.25\nlever_mm = 70\n"
        "clockwise_moves = 'east'\ntravel_arcmin = 240\n[mount.altitude]\ntravel_arcmin = 600\n",
        encoding="utf-8",
    )
    given = ("--error", "180,20", "--site", "47.3,11.2", "--rig", rig)
    shown = " ".join(run("correct", *given).stdout.split())
    assert "ease the bolt on the east side" in shown
    assert "drive the one on the west side in" in shown
    assert "turn the tripod about the vertical by 3.0 deg west" in shown
    moves = {move["knob"]: move for move in json.loads(run("correct", *given, "--json").stdout)["moves"]}
    assert moves["azimuth"]["opposed"] is True
    assert moves["azimuth"]["beyond_travel_arcmin"] == pytest.approx(60.0)
    assert moves["altitude"]["beyond_travel_arcmin"] == 0
    # M8 x 1.25 at 70 mm: 61.4 arcmin a turn by hand, so 180 arcmin take 2.93 turns
    assert moves["azimuth"]["turns"] == pytest.approx(180 / 61.4, rel=0.005)
