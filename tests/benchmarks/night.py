"""Nights at the mount: a user with two knobs does what the commands' JSON says, and nothing else, until it says stop.

Run ``python -m tests.benchmarks.night`` from the project's root (``--nights N``, ``--noise PX,...``). The user
measures a sweep of six frames over 60 deg, asks `correct` what to do next, turns the knobs by hand, turns the mount
in right ascension to where the next frames are asked for, follows them, and asks again. The mount: about 50 arcmin
per turn with a gain up to 25 % off the rig file, backlash of 1/8 turn, a tripod up to 2 deg out of level; the hand:
4 % of the turn plus 1/200 turn; start errors up to 3 deg. A frame's pointing is off by the noise named, its roll by
the same number of pixels at the stars' root mean square distance from the middle; one frame in ten is solved
elsewhere on the sky. North and south in turn.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from astropy.io import fits
from typer.testing import CliRunner

from polarcheck.cli.app import app
from polarcheck.constants import ARCMIN, DEGREE, SIDEREAL_RATE
from polarcheck.simulate import (
    Camera,
    KnobMount,
    by_hand,
    camera_directions,
    drawn_mount,
    mount_attitudes,
    mount_axis,
    noisy_attitudes,
    sensor_points,
    site_cards,
    time_cards,
)
from polarcheck.simulate.cards import wcs_cards
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import add_seconds, utc_from_iso
from polarcheck.vectors import Array, angle_between, azalt_from_direction, rotation_matrix, wrap

BACKLASH = 1 / 8
WRONG_FRAMES = 0.1
CAMERAS = {
    "1280 x 960 px at 4.8 arcsec/px": Camera(1280, 960, 4.8),
    "3008 x 3008 px at 1.5 arcsec/px": Camera(3008, 3008, 1.5),
}
NOISES_PX = (0.02, 0.1, 0.2, 0.5)
SWEEP_DEG = (10.0, 22.0, 34.0, 46.0, 58.0, 70.0)
MOST_STEPS = 30


@dataclass
class Night:
    """One night, and what is told of it."""

    folder: Path
    sky: Sky
    camera: Camera
    noise_px: float
    mount: KnobMount
    attitude: Array
    rng: np.random.Generator
    utc: tuple[float, float]
    turns: list[int] = field(default_factory=lambda: [0, 0])
    frames: int = 0
    stands_deg: float = 0.0
    places_deg: dict[str, float] = field(default_factory=dict)
    refused: int = 0
    pulls: list[tuple[float, float]] = field(default_factory=list)
    below_sigma: int = 0
    actions: list[str] = field(default_factory=list)

    @property
    def pole(self) -> Array:
        return self.sky.pole("refracted").direction

    @property
    def error_arcmin(self) -> float:
        """Angle between axis and refracted pole. [arcmin]"""
        return float(angle_between(self.mount.axis, self.pole)) / ARCMIN

    def wait(self, seconds: float) -> None:
        """The mount turns with the sky."""
        self.utc = add_seconds(self.utc, seconds)
        self.turn_west(SIDEREAL_RATE * seconds)

    def turn_west(self, angle: float) -> None:
        """Turn about the right-ascension axis. [rad]"""
        westward = -1.0 if self.mount.north else 1.0
        self.attitude = rotation_matrix(self.mount.axis, westward * angle) @ self.attitude

    def turn_knob(self, knob: int, turns: float) -> None:
        """Turn a knob by hand, clockwise positive."""
        self.mount, moved = self.mount.turned(knob, by_hand(turns, self.rng))
        self.attitude = moved @ self.attitude
        self.turns[knob] += 1

    def shoot(self, name: str) -> Path:
        """A solved frame; one in ten is solved elsewhere on the sky."""
        self.wait(60.0)
        self.frames += 1
        seen = noisy_attitudes(self.attitude[None], self.camera, self.noise_px, self.rng)[0]
        if self.rng.random() < WRONG_FRAMES:
            axis = self.rng.normal(size=3)
            seen = rotation_matrix(axis / np.linalg.norm(axis), self.rng.uniform(0.05, 3.0)) @ seen
        return self.write(self.folder / f"{name}.fits", seen)

    def write(self, path: Path, attitude: Array, exposure_s: float = 5.0) -> Path:
        """A frame of which only the header is kept: the size of its image stands there."""
        moment = np.array([self.utc])
        seen = camera_directions(sensor_points(self.camera), self.camera) @ attitude.T
        cards = time_cards(moment[0], exposure_s) + site_cards(self.sky.site, "geodetic")
        cards += wcs_cards(self.sky.icrs(seen[None], moment)[0], self.camera)
        cards += [("IMAGEW", self.camera.width_px, "[px]"), ("IMAGEH", self.camera.height_px, "[px]")]
        fits.PrimaryHDU(header=fits.Header(cards)).writeto(path, overwrite=True)
        return path

    def take(self, turns_deg: list[float], name: str) -> list[Path]:
        """Frames at turns from where the mount stands now, tracking going on."""
        paths = []
        origin = self.stands_deg
        for i, turn in enumerate(turns_deg):
            self.turn_to(origin + turn)
            paths.append(self.shoot(f"{name}_{i}"))
            self.places_deg[paths[-1].name] = self.stands_deg
        return paths

    def turn_to(self, place_deg: float) -> None:
        """Turn in right ascension to a place, counted on the circle that turns with the sky."""
        self.turn_west((place_deg - self.stands_deg) * DEGREE)
        self.stands_deg = place_deg

    def back_to_last_used(self, answer: dict[str, Any]) -> None:
        """Turn back to where the last frame in use was taken; from there the next ones are counted."""
        used = [frame["file"] for frame in answer["frames"] if frame["used"]]
        self.turn_to(self.places_deg[used[-1]])

    def weigh(self, error: dict[str, float], moves: list[dict[str, Any]]) -> None:
        """Keep how far the truth is from what was told before a turn, in sigmas and 95 % half-widths."""
        azimuth, altitude = azalt_from_direction(np.stack([self.mount.axis, self.pole]))
        off = {
            "azimuth": float(wrap(azimuth[0] - azimuth[1])) / ARCMIN,
            "altitude": float(altitude[0] - altitude[1]) / ARCMIN,
        }
        for knob, truth in off.items():
            apart = abs(truth - error[f"{knob}_arcmin"])
            self.pulls.append((apart / error[f"{knob}_sigma_arcmin"], apart / error[f"{knob}_95_arcmin"]))
        self.below_sigma += sum(bool(m["turns"]) and abs(m["move_arcmin"]) < m["sigma_arcmin"] for m in moves)


def new_night(folder: Path, seed: int, camera: Camera, noise_px: float) -> tuple[Night, Path]:
    """A mount as someone set it up at dusk, and its rig file."""
    rng = np.random.default_rng(seed)
    north = seed % 2 == 0
    sky = Sky.over(Site(rng.uniform(28, 58) * (1 if north else -1), rng.uniform(-170, 170), 300.0))
    angle, size = rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 3.0) * 60
    error = (size * np.sin(angle) / np.cos(sky.site.latitude_deg * DEGREE), size * np.cos(angle))
    axis = mount_axis(error, sky.pole("refracted"))
    mount = drawn_mount(axis, north, rng)
    east = (mount.gains[0] > 0) == north
    text = "".join(
        f"[mount.{name}]\narcmin_per_turn = 50.0\nbacklash_turns = 0.125\nclockwise_moves = '{way}'\n"
        for name, way in (
            ("azimuth", "east" if east else "west"),
            ("altitude", "up" if mount.gains[1] > 0 else "down"),
        )
    )
    rig = folder / "knobs.toml"
    rig.write_text(text, encoding="utf-8")
    start = np.array([SWEEP_DEG[0]]) * DEGREE
    attitude = mount_attitudes(axis, north, start, (35.0 if north else -35.0) * DEGREE, 0.3)[0]
    midnight = add_seconds(utc_from_iso("2026-11-15T00:00:00"), -240.0 * sky.site.longitude_deg)
    return Night(folder, sky, camera, noise_px, mount, attitude, rng, midnight), rig


def run(*arguments: object) -> dict[str, Any] | None:
    """One command's JSON; None where it refused."""
    result = CliRunner().invoke(app, [*map(str, arguments), "--json"])
    assert result.exit_code in (0, 1), result.output
    return json.loads(result.stdout) if result.exit_code == 0 else None


def play(folder: Path, seed: int, camera: Camera, noise_px: float) -> Night:
    """One night, as the JSON tells."""
    night, rig = new_night(folder, seed, camera, noise_px)
    kept = folder / "result_0.json"
    sweep = [angle - SWEEP_DEG[0] for angle in SWEEP_DEG]
    while (measured := run("measure", *night.take(sweep, "sweep"), "--out", kept)) is None:
        night.turn_to(0.0)  # swept again after bad luck
    night.back_to_last_used(measured)
    for step in range(MOST_STEPS):
        answer = run("correct", kept, "--rig", rig)
        assert answer is not None
        advice = answer["next"]
        night.actions.append(advice["action"])
        if advice["action"] == "stop":
            return night
        said = [0.0, 0.0]
        if advice["action"] == "turn":
            night.weigh(json.loads(kept.read_text(encoding="utf-8"))["error"], answer["moves"])
            for move in answer["moves"]:
                knob = 0 if move["knob"] == "azimuth" else 1
                if move["turns"]:  # nobody touches a knob that is to stay
                    said[knob] = move["turns"] * (1 if move["sense"] == "clockwise" else -1)
                    night.turn_knob(knob, said[knob])
        kept = followed(night, kept, rig, [f["turn_deg"] for f in advice["frames"]], said, step)
    return night


def followed(night: Night, kept: Path, rig: Path, places: list[float], said: list[float], step: int) -> Path:
    """The frames that were asked for, taken again for as long as they are refused."""
    out = night.folder / f"result_{step + 1}.json"
    turned = f"{said[0]},{said[1]}"
    origin = night.stands_deg
    for attempt in range(20):
        paths = night.take(places, f"after_{step}_{attempt}")
        if answer := run("follow", kept, *paths, "--turned", turned, "--rig", rig, "--out", out):
            night.back_to_last_used(answer)
            return out
        night.refused += 1
        night.turn_to(origin)
    raise AssertionError("twenty times refused")


def tell(nights: list[Night]) -> None:
    """Print the distribution."""
    left = np.array([night.error_arcmin for night in nights])
    turns = np.array([night.turns for night in nights])
    print(
        "  left, arcmin: "
        + ", ".join(f"{p} %: {np.percentile(left, p):.2f}" for p in (5, 25, 50, 75, 95, 100))
    )
    print(f"  under 0.5 arcmin: {np.mean(left < 0.5):.1%}")
    for i, knob in enumerate(("azimuth", "altitude")):
        counts = dict(sorted(Counter(turns[:, i].tolist()).items()))
        print(
            f"  turns of the {knob} knob: median {np.median(turns[:, i]):.0f}, most {turns[:, i].max()}; nights: {counts}"
        )
    frames = np.array([night.frames for night in nights])
    print(
        f"  frames a night: median {np.median(frames):.0f}, most {frames.max()}; asked for before a turn in "
        f"{np.mean(['frames' in night.actions for night in nights]):.0%} of nights; refused and taken again: "
        f"{sum(night.refused for night in nights)}"
    )
    pulls = np.array([pull for night in nights for pull in night.pulls])
    print(
        f"  before a turn the truth lies within sigma in {np.mean(pulls[:, 0] <= 1):.1%} and within the 95 % interval "
        f"in {np.mean(pulls[:, 1] <= 1):.1%} of {len(pulls)} errors"
    )
    print(
        f"  knobs turned for less than their sigma: {sum(night.below_sigma for night in nights)}", flush=True
    )


def main() -> None:
    """Play the nights and print the distribution for each camera and noise."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--noise", default=",".join(map(str, NOISES_PX)), help="pointing noise [px]")
    parser.add_argument("--cameras", default="0,1", help="which of the two")
    asked = parser.parse_args()
    cameras = [list(CAMERAS.items())[int(i)] for i in asked.cameras.split(",")]
    for name, camera in cameras:
        for noise in map(float, asked.noise.split(",")):
            print(f"{name}, {noise:g} px, {asked.nights} nights from seed {asked.first}:", flush=True)
            nights = []
            for seed in range(asked.first, asked.first + asked.nights):
                with tempfile.TemporaryDirectory() as folder:
                    nights.append(play(Path(folder), seed, camera, noise))
            tell(nights)


if __name__ == "__main__":
    main()
