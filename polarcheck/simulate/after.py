"""Frames after a turn of the knobs, on a mount whose gains, play and tilt are hidden: an evening to practise.

The mount is the one that the frames before were made of, as the truth beside them tells; of other frames, one that
stands where their result says. What its knobs do is drawn from the seed once, and kept in the truth from then on.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.axis import axis_angle
from polarcheck.constants import DEGREE, FRAME_NOISE_PX, SIDEREAL_RATE
from polarcheck.errors import InputError
from polarcheck.knobs import correct, knob_specs
from polarcheck.printable import printable
from polarcheck.rig import Rig
from polarcheck.simulate.folder import TRUTH
from polarcheck.simulate.knobs import KnobMount, by_hand, drawn_mount
from polarcheck.simulate.mount import (
    Camera,
    camera_directions,
    mount_attitudes,
    noisy_attitudes,
    sensor_points,
)
from polarcheck.simulate.schema import TruthSchema
from polarcheck.simulate.write import refuse_low, write_frame
from polarcheck.times import add_seconds
from polarcheck.vectors import Array, best_rotations, direction_from_azalt, rotation_matrix
from polarcheck.writing import write_text

__all__ = ["simulate_after"]

_TURNING_S, _CADENCE_S = (
    120.0,
    60.0,
)  # from the last frame to the first after the turn, and from one to the next
_LARGEST = 10_000_000  # bytes of a truth file


@dataclass(frozen=True, slots=True)
class _Stand:
    """How the mount stands at the last frame before: its knobs, its camera, and the noise of its frames."""

    mount: KnobMount | None
    axis: Array
    attitude: Array
    camera: Camera
    noise_px: float


def simulate_after(
    folder: Path,
    before: Alignment,
    turned: tuple[float, float],
    *,
    rig: Rig | None = None,
    turns_deg: Sequence[float] | None = None,
    seed: int = 0,
    progress: Callable[[int, int], None] | None = None,
) -> list[Path]:
    """Write the frames that the advice asks for after a turn, and ``truth.json`` beside them.

    Parameters
    ----------
    folder : pathlib.Path
        Made if missing; other frames in it stay.
    before : Alignment
        A result of `measure` or `follow`, kept.
    turned : tuple of float
        Turns of the azimuth and the altitude knob by a hand, which misses by a little; clockwise positive.
    rig : Rig, optional
        What the makers say of the knobs.
    turns_deg : sequence of float, optional
        Where to take frames: turns about the right-ascension axis from where the last used frame was taken,
        westward, tracking going on; by default as `correct` asks. [deg]
    seed : int
        Of the hidden mount, the hand and the noise.
    progress : callable, optional
        Called with the number of frames written and of all frames.

    Returns
    -------
    list of pathlib.Path
        The frames, in order of time.

    Raises
    ------
    InputError
        The result holds no camera, or a frame would look below 10 deg of altitude.
    """
    if before.camera is None or before.sensor is None or before.utc is None:
        raise InputError("the result holds no frames to go on from; start from a result that `measure` kept")
    stand, number = _stand(before), len(before.steps)
    north = before.site.is_north
    mount = stand.mount or _drawn(stand.axis, north, rig, seed)
    hand = np.random.default_rng([seed, 2, number])
    attitude = stand.attitude
    for knob in (1, 0):  # altitude first, as the advice has it
        mount, moved = mount.turned(knob, by_hand(turned[knob], hand))
        attitude = moved @ attitude
    asked = turns_deg if turns_deg is not None else correct(before, rig).next.frames_deg or (0.0,)
    seconds = _TURNING_S + _CADENCE_S * np.arange(len(asked))
    westward = -1.0 if north else 1.0
    turns = westward * (np.asarray(asked) * DEGREE + SIDEREAL_RATE * seconds)
    attitudes = rotation_matrix(mount.axis, turns) @ attitude
    angles = axis_angle(mount.axis, attitudes[:, :, 2], north) / DEGREE
    refuse_low(attitudes, angles)
    noise = np.random.default_rng([seed, 3, number])
    noisy = noisy_attitudes(attitudes, stand.camera, stand.noise_px, noise)
    paths = _paths(folder, number, len(noisy))
    for i, (path, seen) in enumerate(zip(paths, noisy, strict=True)):
        utc = add_seconds(before.utc, float(seconds[i]))
        write_frame(path, seen, utc=utc, sky=before.sky, camera=stand.camera, seed=seed + i)
        if progress is not None:
            progress(i + 1, len(paths))
    _write_truth(folder, before, mount, stand, seed, list(zip(paths, angles, strict=True)))
    return paths


def _drawn(axis: Array, north: bool, rig: Rig | None, seed: int) -> KnobMount:
    azimuth, altitude = knob_specs(rig, north)
    return drawn_mount(
        axis,
        north,
        np.random.default_rng([seed, 1]),
        (azimuth.gain, altitude.gain),
        (azimuth.backlash_turns, altitude.backlash_turns),
    )


def _stand(before: Alignment) -> _Stand:
    """The truth of the frames before where it lies beside them, else what the result says."""
    for truth in _truths(before):
        angles = {frame.file: frame.axis_angle_deg for frame in truth.frames}
        if before.last_frame not in angles or truth.declination_deg is None:
            continue
        axis = direction_from_azalt(truth.axis.azimuth_deg * DEGREE, truth.axis.altitude_deg * DEGREE)
        rig = truth.rig
        camera = Camera(
            rig.width_px, rig.height_px, rig.pixel_scale_arcsec, rig.camera_angle_deg, rig.mirrored
        )
        attitude = mount_attitudes(
            axis,
            before.site.is_north,
            np.array([angles[before.last_frame]]) * DEGREE,
            truth.declination_deg * DEGREE,
            rig.camera_angle_deg * DEGREE,
        )[0]
        knobs = None if truth.knobs is None else KnobMount.from_dict(truth.knobs)
        return _Stand(knobs, axis, attitude, camera, truth.noise_px or FRAME_NOISE_PX)
    assert before.camera is not None and before.sensor is not None
    sensor = before.sensor
    camera = Camera(sensor.width_px, sensor.height_px, sensor.pixel_scale_arcsec, mirrored=sensor.mirrored)
    own = camera_directions(sensor_points(camera), camera)
    into = best_rotations(own, before.camera.template[None], before.camera.weights)[0]
    return _Stand(None, before.axis, before.camera.attitude @ into, camera, before.camera.noise_px)


def _truths(before: Alignment) -> list[TruthSchema]:
    """Truth files in the folders where the last frame may lie; what is none is passed over."""
    found = []
    folders = dict.fromkeys(path.parent for path in (before.last_file.paths if before.last_file else ()))
    for folder in folders:
        for path in sorted(folder.glob("truth*.json")):
            content = _content(path)
            if content is not None:
                found.append(content)
    return found


def _content(path: Path) -> TruthSchema | None:
    try:
        if path.stat().st_size > _LARGEST:
            return None
        return TruthSchema.model_validate(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, RecursionError):
        return None


def _paths(folder: Path, number: int, count: int) -> list[Path]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        old = folder / TRUTH
        if old.is_file():
            old.replace(folder / f"truth_before_{number}.json")
    except OSError as error:
        raise InputError(f"{printable(folder)} cannot be written: {error.strerror or error}") from None
    return [folder / f"after_{number}_{i + 1:02d}.fits.fz" for i in range(count)]


def _write_truth(
    folder: Path,
    before: Alignment,
    mount: KnobMount,
    stand: _Stand,
    seed: int,
    frames: Sequence[tuple[Path, float]],
) -> None:
    north = before.site.is_north
    from_axis = float(np.arccos(np.clip(stand.attitude[:, 2] @ stand.axis, -1, 1)))
    declination = (90.0 - from_axis / DEGREE) * (1 if north else -1)
    camera: dict[str, Any] = {"declination_deg": declination, "knobs": mount.to_dict()}
    truth = TruthSchema.of(
        mount.axis,
        before.pole,
        before.sky,
        _as_mounted(stand, north, declination),
        seed=seed,
        noise_px=stand.noise_px,
        frames=[{"file": path.name, "axis_angle_deg": float(angle)} for path, angle in frames],
        **camera,
    )
    write_text(folder / TRUTH, truth.to_json())


def _as_mounted(stand: _Stand, north: bool, declination: float) -> Camera:
    """The camera with the angle at which it sits on the mount."""
    angle = axis_angle(stand.axis, stand.attitude[:, 2], north)
    plain = mount_attitudes(stand.axis, north, np.array([float(angle)]), declination * DEGREE, 0.0)[0]
    turned = plain.T @ stand.attitude
    return replace(stand.camera, camera_angle_deg=float(np.arctan2(turned[0, 1], turned[1, 1])) / DEGREE)
