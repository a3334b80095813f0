"""A mount with knobs whose frames come one by one: what a user does between them, and the truth about its axis."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.frames import Frame, read_frame
from polarcheck.night import NightBook
from polarcheck.rig import Rig, read_rig
from polarcheck.simulate import Camera, noisy_attitudes
from polarcheck.times import add_seconds
from polarcheck.vectors import rotation_matrix, unit
from polarcheck.watch import Evening, Wishes
from tests.benchmarks.night import Night, new_night

CAMERA = Camera(1280, 960, 4.8)
SWEEP = (0.0, 20.0, 40.0, 60.0)


class AtTheMount:
    """A night of `tests.benchmarks.night`, in steps; no frame is solved wrongly unless asked for."""

    def __init__(self, folder: Path, seed: int = 1, noise_px: float = 0.1) -> None:
        self.night: Night
        self.night, rig = new_night(folder, seed, CAMERA, noise_px)
        self.rig: Rig = read_rig(rig)
        self.count = 0

    def evening(self) -> Evening:
        return Evening(NightBook(self.night.folder, self.rig), Wishes(rig=self.rig))

    def shoot(self, seconds: float = 60.0, wrong: bool = False) -> Frame:
        """One frame where the mount stands, some time after the last."""
        night = self.night
        night.wait(seconds)
        self.count += 1
        seen = noisy_attitudes(night.attitude[None], CAMERA, night.noise_px, night.rng)[0]
        if wrong:
            seen = rotation_matrix(np.array([0.6, 0.0, 0.8]), 0.7) @ seen
        return read_frame(night.write(night.folder / f"frame_{self.count:03d}.fits", seen))

    def sweep(self, *turns_deg: float) -> list[Frame]:
        """Frames at places counted from where the first sweep began; the mount stays at the last."""
        frames = []
        for turn in turns_deg:
            self.night.turn_to(turn)
            frames.append(self.shoot())
        return frames

    def further(self, turn_deg: float) -> None:
        """Turn in right ascension from where the mount stands."""
        self.night.turn_to(self.night.stands_deg + turn_deg)

    def turn(self, azimuth: float, altitude: float) -> None:
        """Turn the knobs by hand, clockwise positive."""
        for knob, turns in ((1, altitude), (0, azimuth)):
            if turns:
                self.night.turn_knob(knob, turns)

    def decline(self, angle_deg: float) -> None:
        """Unclamp declination, and turn the camera about the declination axis."""
        look = self.night.attitude[:, 2]
        across = unit(np.cross(self.night.mount.axis, look))
        self.night.attitude = rotation_matrix(across, angle_deg * DEGREE) @ self.night.attitude

    def set_clock(self, seconds: float) -> None:
        """Set the camera's clock ahead, or back."""
        self.night.utc = add_seconds(self.night.utc, seconds)

    def told(self, evening: Evening) -> tuple[float, float]:
        """What the evening's advice says, read from its view's own numbers."""
        assert evening.finding is not None
        turns = {"azimuth": 0.0, "altitude": 0.0}
        for move in evening.finding.correction.moves:
            if move.turns:
                turns[move.knob] = move.turns if move.sense == "clockwise" else -move.turns
        return turns["azimuth"], turns["altitude"]

    @property
    def error_arcmin(self) -> float:
        return self.night.error_arcmin
