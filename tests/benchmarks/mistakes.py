"""Does a mistake that people make end in a confident wrong number?

Run ``python -m tests.benchmarks.mistakes`` from the project's root (``--folders N``, ``--skip N``, ``--cause
WORD``). Each folder is a seeded sweep of a mount whose axis is known, with one mistake of a size drawn evenly in
its logarithm, 2 to 24 frames, north or south, the noise of a pointing 0.03 to 0.3 px. An answer fails where azimuth
or altitude is further off than twice its 95 % interval and no warning names the cause. Printed per cause: folders,
refused, answers beyond twice the interval, those unwarned, and how many were warned of. The truth is the axis as it
stands at the last frame. What leaves no trace in the frames is marked "(no trace)" and not counted in the total;
there the answer states the limit (its sag and creep, or that three positions check nothing), and the share of the
truths that noise and that allowance hold together is printed instead.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from polarcheck.errors import PolarcheckError
from polarcheck.frames import Frame, FrameSet
from polarcheck.measurement.measurement import measure_frames
from polarcheck.measurement.result import Measurement
from tests.benchmarks.mounts import NORTH, SOUTH, Array, Scene, Sweep, frames_of

ARCSEC = np.pi / 180 / 3600
ARCMIN = 60 * ARCSEC
UNSURE = {"frames-disagree", "noisy-frames"}
"""Said of frames that contradict each other, whichever is wrong."""


@dataclass(frozen=True)
class Folder:
    """Frames, the axis that they should give, and the warnings that name what is wrong with them."""

    frames: tuple[Frame, ...]
    axis: Array
    named: frozenset[str]


@dataclass(frozen=True)
class Night:
    """One draw: a mount, its frames and noise."""

    rng: np.random.Generator
    south: bool
    noise_px: float

    def scene(self, count: int, error: tuple[float, float] | None = None, arc: float | None = None) -> Scene:
        """A steady sweep."""
        first = self.rng.uniform(-70, 10)
        arc = self.rng.uniform(25, 90) if arc is None else arc
        declination = self.rng.uniform(15, 75)
        return Scene(
            [
                Sweep(
                    tuple(np.linspace(first, first + arc, count)), -declination if self.south else declination
                )
            ],
            SOUTH if self.south else NORTH,
            error or self.error(),
            noise_px=self.noise_px,
            stars=0,
        )

    def error(self) -> tuple[float, float]:
        """An error as the eye leaves it. [arcmin]"""
        return float(self.rng.normal() * 40), float(self.rng.normal() * 30)

    def size(self, least: float, most: float) -> float:
        """Evenly in its logarithm, either sign."""
        return float(np.exp(self.rng.uniform(np.log(least), np.log(most))) * self.rng.choice([-1, 1]))

    def frames(self, scene: Scene) -> tuple[Frame, ...]:
        """Solved."""
        return frames_of(scene, self.rng).frames


def moved(scene: Scene, rotations: Array) -> Scene:
    """The scene with each attitude turned on the sky."""
    changed = replace(scene)
    object.__setattr__(changed, "attitudes", rotations @ scene.attitudes)
    return changed


def tilted(scene: Scene, angles: Array) -> Array:
    """Rotations, (n, 3, 3), that move each boresight towards the axis by an angle."""
    about = np.cross(scene.attitudes[:, :, 2], scene.axis)
    about /= np.linalg.norm(about, axis=-1, keepdims=True)
    return Rotation.from_rotvec(about * np.asarray(angles)[:, None]).as_matrix()


def clean(night: Night) -> Folder:
    """Nothing wrong."""
    scene = night.scene(int(night.rng.integers(2, 25)))
    return Folder(night.frames(scene), scene.axis, frozenset())


def knob(night: Night) -> Folder:
    """A sweep, a knob turn, a second sweep over the same positions."""
    counts = [(2, 2), (3, 3), (4, 4), (6, 2), (5, 1), (3, 1), (2, 4), (8, 3), (3, 3, 3)][
        night.rng.integers(9)
    ]
    scene = night.scene(max(counts))
    frames: list[Frame] = []
    error, axis = scene.error_arcmin, scene.axis
    for i, count in enumerate(counts):
        if i:
            error = (error[0] + night.size(1, 120), error[1] + night.size(1, 60))
        angles = scene.sweeps[0].axis_angles_deg[:count]
        part = replace(
            scene,
            sweeps=[replace(scene.sweeps[0], axis_angles_deg=angles)],
            error_arcmin=error,
            start=f"2026-11-14T20:{30 + 8 * i:02d}:00",
        )
        frames += [replace(f, name=f"sweep_{i}_{f.name}") for f in night.frames(part)]
        axis = part.axis
    named = {"mount-moved", "newest-frames-differ", "several-groups", "much-creep", *UNSURE}
    if min(counts) > 1:
        named -= {"several-groups"}
    return Folder(tuple(frames), axis, frozenset(named))


def slip(night: Night) -> Folder:
    """The declination slipped between two frames."""
    count = int(night.rng.integers(4, 13))
    scene = night.scene(count)
    k = int(night.rng.integers(1, count))
    slipped = moved(scene, tilted(scene, np.where(np.arange(count) >= k, night.size(20, 7200) * ARCSEC, 0.0)))
    return Folder(
        night.frames(slipped),
        scene.axis,
        frozenset({"several-groups", "newest-frames-differ", "frames-bend", *UNSURE}),
    )


def wrong(night: Night) -> Folder:
    """One frame of four or more is solved elsewhere, or moved."""
    count = int(night.rng.integers(4, 13))
    scene = night.scene(count)
    sky = [(int(night.rng.integers(count)), abs(night.size(15, 20000)))]
    named = {"newest-frames-differ", "mount-moved", "frames-bend", "several-groups", *UNSURE}
    return Folder(night.frames(replace(scene, wrong=sky)), scene.axis, frozenset(named))


def one_of_three(night: Night) -> Folder:
    """One of three frames is 15 to 120 arcsec off."""
    scene = replace(night.scene(3), wrong=[(int(night.rng.integers(3)), abs(night.size(15, 120)))])
    return Folder(night.frames(scene), scene.axis, frozenset(UNSURE))


def loose(night: Night) -> Folder:
    """The declination was moved a little at every position."""
    count = int(night.rng.integers(4, 9))
    scene = night.scene(count)
    steps = np.cumsum(np.append(0.0, night.rng.uniform(0.2, 1, count - 1))) * night.size(300, 3600) * ARCSEC
    named = {
        "declination-moved",
        "several-groups",
        "frames-bend",
        "newest-frames-differ",
        "mount-moved",
        *UNSURE,
    }
    return Folder(night.frames(moved(scene, tilted(scene, steps))), scene.axis, frozenset(named))


def rough(night: Night) -> Folder:
    """A rough solution from the mount's own coordinates: the matrix the same to the last digit."""
    scene = night.scene(int(night.rng.integers(2, 9)))
    frames = night.frames(scene)
    matrix = (-1.375e-3, 0.0, 0.0, 1.375e-3)
    return Folder(tuple(replace(f, matrix_deg=matrix) for f in frames), scene.axis, frozenset())


def milliseconds(night: Night) -> Folder:
    """EXPTIME in milliseconds: the middle of the exposure is half of it late."""
    scene = night.scene(int(night.rng.integers(2, 9)))
    late = 5000 * (1 - 1e-3) / 2 / 86400
    frames = (replace(f, exposure_s=5000.0, utc=(f.utc[0], f.utc[1] + late)) for f in night.frames(scene))
    return Folder(tuple(frames), scene.axis, frozenset())


def one_time(night: Night) -> Folder:
    """One DATE-OBS on all frames."""
    scene = night.scene(int(night.rng.integers(2, 9)))
    frames = night.frames(scene)
    return Folder(tuple(replace(f, utc=frames[0].utc) for f in frames), scene.axis, frozenset())


def clock(night: Night) -> Folder:
    """The clock was set by an hour in mid-sweep, on or back."""
    count = int(night.rng.integers(4, 13))
    scene = night.scene(count)
    k, hours = int(night.rng.integers(2, count - 1)), float(night.rng.choice([-1, 1]))
    frames = [
        replace(f, utc=(f.utc[0], f.utc[1] + (hours / 24 if i >= k else 0.0)))
        for i, f in enumerate(night.frames(scene))
    ]
    frames.sort(key=lambda frame: sum(frame.utc))
    return Folder(tuple(frames), scene.axis, frozenset({"clock-jump", "mount-moved", "much-creep", *UNSURE}))


def sinking(night: Night) -> Folder:
    """The tripod sinks steadily through 24 frames."""
    scene = night.scene(24)
    angle = night.size(20, 900) * ARCSEC
    side = np.cross(scene.axis, [0.0, 0.0, 1.0])
    turned = Rotation.from_rotvec(
        np.linspace(0, angle, 24)[:, None] * side / np.linalg.norm(side)
    ).as_matrix()
    return Folder(
        night.frames(moved(scene, turned)), turned[-1] @ scene.axis, frozenset({"frames-bend", "mount-moved"})
    )


def flexed(night: Night, back: bool) -> Folder:
    """Sag and creep as large as what is allowed for."""
    scene = night.scene(int(night.rng.integers(3, 13)))
    if back:
        angles = (*scene.sweeps[0].axis_angles_deg, scene.sweeps[0].axis_angles_deg[0])
        scene = replace(scene, sweeps=[replace(scene.sweeps[0], axis_angles_deg=angles)])
    gravity = -scene.attitudes[:, 2, :]  # as the camera feels it
    matrix = night.rng.normal(size=(3, 3))
    if night.rng.random() < 0.5:  # the boresight drops where the tube lies level
        matrix = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
    size = np.linalg.norm(matrix, 2)
    sag = Rotation.from_rotvec(5 * ARCSEC * gravity @ matrix.T / size).as_matrix()
    share = np.linspace(0, 1, len(gravity)) * night.rng.choice([-1, 1]) * 5 * ARCSEC
    bent = replace(scene)
    object.__setattr__(bent, "attitudes", tilted(scene, share) @ scene.attitudes @ sag)
    return Folder(night.frames(bent), scene.axis, frozenset())


CAUSES: dict[str, tuple[Callable[[Night], Folder], float, bool]] = {
    "clean": (clean, 0.2, True),
    "knob turned between sweeps": (knob, 0.15, True),
    "declination slipped": (slip, 0.1, True),
    "one frame wrong": (wrong, 0.1, True),
    "declination moved at every position": (loose, 0.07, True),
    "rough solution": (rough, 0.03, True),
    "exposure in milliseconds": (milliseconds, 0.03, True),
    "one time on all frames": (one_time, 0.03, True),
    "clock set by an hour": (clock, 0.07, True),
    "one of three wrong (no trace)": (one_of_three, 0.05, False),
    "tripod sinks (no trace)": (sinking, 0.07, False),
    "sag and creep (no trace)": (lambda night: flexed(night, False), 0.05, False),
    "sag and creep, a frame taken back (no trace)": (lambda night: flexed(night, True), 0.05, False),
}
WARNINGS_OF_MISTAKES = frozenset(
    {
        "mount-moved",
        "newest-frames-differ",
        "several-groups",
        "declination-moved",
        "frames-bend",
        "clock-jump",
        "much-creep",
    }
) | {"times-overlap", *UNSURE}


def offsets(result: Measurement, axis: Array) -> Array:
    """Azimuth and altitude less the truth's, shape (2,). [arcmin]"""
    azimuth = np.degrees(np.arctan2(axis[0], axis[1])) - result.axis_azimuth_deg
    altitude = np.degrees(np.arcsin(axis[2])) - result.axis_altitude_deg
    return np.array([(azimuth + 180) % 360 - 180, altitude]) * 60


@dataclass
class Tally:
    """What became of one cause's folders."""

    folders: int = 0
    refused: int = 0
    beyond: int = 0
    unwarned: int = 0
    warned: int = 0
    left_out: int = 0
    held: int = 0
    worst: str = ""

    def add(self, folder: Folder, seed: int) -> None:
        """Measure a folder."""
        self.folders += 1
        try:
            result = measure_frames(FrameSet(folder.frames, ()))
        except PolarcheckError:
            self.refused += 1
            return
        codes = {notice.code for notice in result.notices}
        off = np.abs(offsets(result, folder.axis))
        wide = np.array([result.error.azimuth_95_arcmin, result.error.altitude_95_arcmin])
        allowed = np.array(result.systematic.half_widths_arcmin(result.axis))
        self.held += bool((off <= wide + allowed).all())
        self.warned += bool(codes & WARNINGS_OF_MISTAKES)
        self.left_out += len(result.left_out) > 0
        if (off > 2 * wide).any():
            self.beyond += 1
            if not codes & folder.named:
                self.unwarned += 1
                self.worst += f" {seed}:{(off / wide).max():.0f}x{','.join(sorted(codes)) or '-'}"

    def line(self, name: str) -> str:
        """One row."""
        answered = max(self.folders - self.refused, 1)
        return (
            f"| {name} | {self.folders} | {self.refused} | {self.beyond} | {self.unwarned} | {self.warned} "
            f"| {self.left_out} | {100 * self.held / answered:.0f} | {self.worst}"
        )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--folders", type=int, default=2000)
    parser.add_argument("--skip", type=int, default=0, help="leave out the first so many of them")
    parser.add_argument("--cause", default="", help="only causes whose name holds this")
    options = parser.parse_args()
    print("| cause | folders | refused | beyond | unwarned | warned | left out | held % | seeds |")
    print("|---|---|---|---|---|---|---|---|---|")
    counted = failed = false_alarms = 0
    for index, (name, (make, share, counts)) in enumerate(CAUSES.items()):
        if options.cause not in name:
            continue
        tally = Tally()
        for seed in range(round(options.skip * share), round(options.folders * share)):
            rng = np.random.default_rng([index, seed])
            night = Night(rng, bool(rng.integers(2)), float(np.exp(rng.uniform(np.log(0.03), np.log(0.3)))))
            tally.add(make(night), seed)
        print(tally.line(name), flush=True)
        if name == "clean" and tally.folders:
            false_alarms, total = tally.warned, tally.folders
            print(f"clean sweeps warned of: {100 * false_alarms / total:.2f} %")
        if counts:
            counted, failed = counted + tally.folders, failed + tally.unwarned
    print(
        f"beyond twice the 95 % interval and unwarned: {failed} of {counted}, {100 * failed / max(counted, 1):.2f} %"
    )


if __name__ == "__main__":
    main()
