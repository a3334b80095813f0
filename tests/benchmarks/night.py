"""Nights at the mount: a user with two knobs does what the commands say, until they say stop.

Run ``python -m tests.benchmarks.night`` from the project's root (``--nights N``). A simulated user with a
simulated mount measures, corrects, turns, follows and corrects again through the commands' own ``--json``,
and the distribution of what is left is printed. The mount: about 50 arcmin per turn with a gain up to 25 % off
the rig file, backlash of 1/8 turn, a tripod tilted by up to 2 deg; the hand: 4 % of the turn plus 1/200 turn;
six frames a sweep, 75 stars in each that are located to 0.2 px; one frame in ten solved elsewhere on the sky;
start errors up to 3 deg.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from typer.testing import CliRunner

from polarcheck.cli.app import app
from polarcheck.constants import ARCMIN, DEGREE, SIDEREAL_RATE
from polarcheck.simulate import Camera, mount_attitudes, mount_axis, noisy_attitudes, write_frame
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, standard_atmosphere
from polarcheck.sky.observed import Sky
from polarcheck.times import add_seconds, utc_from_iso
from polarcheck.vectors import Array, angle_between, rotation_matrix

BACKLASH = 1 / 8
HAND_SHARE, HAND_LEAST = 0.04, 1 / 200
WRONG_FRAMES = 0.1
NOISE_PX = 0.2 / np.sqrt(75)
CAMERA = Camera(width_px=1200, height_px=900, pixel_scale_arcsec=4.95)
UP = np.array([0.0, 0.0, 1.0])


@dataclass
class Mount:
    """A mount that only a hand can move: attitude of its base, its knobs and their play."""

    site: Site
    air: Atmosphere
    axis: Array
    base: Array
    gains: Array
    play: Array
    swing: float = 0.0

    def turn(self, knob: int, turns: float) -> Array:
        """Turn a knob, clockwise positive, and return the rotation of the whole mount."""
        reach = BACKLASH / 2
        end = self.play[knob] + turns
        acting = max(end - reach, 0.0) if turns > 0 else min(end + reach, 0.0)
        self.play[knob] = np.clip(end, -reach, reach)
        angle = acting * self.gains[knob] * ARCMIN
        if knob == 0:
            self.swing += angle
            moved = rotation_matrix(self.base @ UP, -angle)
        else:
            azimuth = (0.0 if self.site.is_north else np.pi) + self.swing
            level = self.base @ rotation_matrix(UP, -azimuth) @ np.array([1.0, 0.0, 0.0])
            moved = rotation_matrix(level, angle)
        self.axis = moved @ self.axis
        return moved

    @property
    def error_arcmin(self) -> float:
        """Angle between axis and refracted pole. [arcmin]"""
        return float(angle_between(self.axis, Sky(self.site, self.air).refracted_pole.direction)) / ARCMIN


def new_mount(rng: np.random.Generator, north: bool) -> tuple[Mount, str]:
    """A mount as someone set it up at dusk, and what its rig file says of the knobs."""
    site = Site(rng.uniform(28, 58) * (1 if north else -1), rng.uniform(-170, 170), 300.0)
    air = standard_atmosphere(site.height_m)
    angle, size = rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 3.0) * 60
    error = (size * np.sin(angle) / np.cos(site.latitude_deg * DEGREE), size * np.cos(angle))
    axis = mount_axis(error, Sky(site, air).refracted_pole)
    tilt, towards = rng.uniform(0, 2) * DEGREE, rng.uniform(0, 2 * np.pi)
    base = rotation_matrix(np.array([np.cos(towards), np.sin(towards), 0.0]), tilt)
    gains = 50 * (1 + rng.uniform(-0.25, 0.25, 2)) * rng.choice([-1, 1], 2)
    east = (gains[0] > 0) == north
    rig = "".join(
        f"[mount.{name}]\narcmin_per_turn = 50.0\nbacklash_turns = 0.125\nclockwise_moves = '{way}'\n"
        for name, way in (
            ("azimuth", "east" if east else "west"),
            ("altitude", "up" if gains[1] > 0 else "down"),
        )
    )
    return Mount(site, air, axis, base, gains, rng.uniform(-0.5, 0.5, 2) * BACKLASH), rig


def run(*arguments: str) -> dict[str, Any] | None:
    """One command's JSON; None where it refused."""
    result = CliRunner().invoke(app, [*arguments, "--json"])
    assert result.exit_code in (0, 1), result.output
    return json.loads(result.stdout) if result.exit_code == 0 else None


def night(folder: Path, seed: int) -> tuple[int, float, int]:
    """One night: corrections made, what is left [arcmin], refused frames."""
    rng = np.random.default_rng(seed)
    mount, rig_text = new_mount(rng, north=seed % 2 == 0)
    rig = folder / "knobs.toml"
    rig.write_text(rig_text, encoding="utf-8")
    utc = utc_from_iso("2026-11-14T20:00:00")
    declination = (35.0 if mount.site.is_north else -35.0) * DEGREE
    angles = np.array([10.0, 22.0, 34.0, 46.0, 58.0, 70.0]) * DEGREE
    attitudes = mount_attitudes(mount.axis, mount.site.is_north, angles, declination, 0.3)
    paths = []
    for i, attitude in enumerate(attitudes):
        utc = add_seconds(utc, 40.0)
        paths.append(shoot(folder / f"sweep_{i}.fits.fz", attitude, mount, utc, rng))
    kept = folder / "result_0.json"
    if run("measure", *map(str, paths), "--out", str(kept)) is None:  # swept again after a bad luck
        return night(folder, seed + 100_000)
    attitude, refused = attitudes[-1], 0
    for corrections in range(12):
        answer = run("correct", str(kept), "--rig", str(rig))
        assert answer is not None
        if not answer["worth_turning"]:
            return corrections, mount.error_arcmin, refused
        turned = [0.0, 0.0]
        for move in answer["moves"]:
            knob = 0 if move["knob"] == "azimuth" else 1
            if not move["turns"]:
                continue  # nobody touches a knob that is to stay
            turned[knob] = move["turns"] * (1 if move["sense"] == "clockwise" else -1)
            by_hand = turned[knob] * (1 + HAND_SHARE * rng.normal()) + HAND_LEAST * rng.normal()
            attitude = mount.turn(knob, by_hand) @ attitude
        for _ in range(20):
            utc = add_seconds(utc, 60.0)
            attitude = tracked(attitude, mount, 60.0)
            frame = shoot(folder / "after.fits.fz", attitude, mount, utc, rng)
            following = folder / f"result_{corrections + 1}.json"
            said = f"{turned[0]},{turned[1]}"
            if run(
                "follow", str(kept), str(frame), "--turned", said, "--rig", str(rig), "--out", str(following)
            ):
                break
            refused += 1
        else:
            return 12, mount.error_arcmin, refused
        kept = following
    return 12, mount.error_arcmin, refused


def tracked(attitude: Array, mount: Mount, seconds: float) -> Array:
    """The camera after the mount turned with the sky."""
    westward = -1.0 if mount.site.is_north else 1.0
    return rotation_matrix(mount.axis, westward * SIDEREAL_RATE * seconds) @ attitude


def shoot(
    path: Path, attitude: Array, mount: Mount, utc: tuple[float, float], rng: np.random.Generator
) -> Path:
    """A solved frame; one in ten is solved elsewhere on the sky."""
    seen = noisy_attitudes(attitude[None], CAMERA, NOISE_PX, rng)[0]
    if rng.random() < WRONG_FRAMES:
        axis = rng.normal(size=3)
        seen = rotation_matrix(axis / np.linalg.norm(axis), rng.uniform(0.05, 3.0)) @ seen
    write_frame(path, seen, utc=utc, sky=Sky(mount.site, mount.air), camera=CAMERA)
    return path


def main() -> None:
    """Print the distribution."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    asked = parser.parse_args()
    nights = asked.nights
    with tempfile.TemporaryDirectory() as name:
        results = [night(Path(name), seed) for seed in range(asked.first, asked.first + nights)]
    corrections = np.array([r[0] for r in results])
    left = np.array([r[1] for r in results])
    print(
        f"{nights} nights, north and south in turn; frames refused and taken again: {sum(r[2] for r in results)}"
    )
    print(
        "corrections:",
        {int(k): int(n) for k, n in zip(*np.unique(corrections, return_counts=True), strict=True)},
    )
    print(f"median {np.median(corrections):.0f}, most {corrections.max()} (bars: 3, 6)")
    shares = ", ".join(f"{p} %: {np.percentile(left, p):.2f}" for p in (5, 25, 50, 75, 95, 100))
    print(f"left, arcmin: {shares}")
    print(f"under 0.5 arcmin: {np.mean(left < 0.5):.1%} (bar: 95 %)")


if __name__ == "__main__":
    main()
