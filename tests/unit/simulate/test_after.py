"""Frames after a turn: whose mount they are of, and when they are taken."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from polarcheck.alignment import Alignment
from polarcheck.frames import read_frames
from polarcheck.measurement import measure
from polarcheck.simulate import simulate_after
from polarcheck.times import seconds_between
from tests.commands import EVENING, NORTH, SMALL, simulated


def measured(folder: Path) -> Alignment:
    angles = [5.0, 20.0, 35.0, 50.0]
    simulated(
        folder,
        error_arcmin=(23.4, -11.8),
        site=NORTH,
        utc=EVENING,
        axis_angles_deg=angles,
        camera=SMALL,
        noise_px=0.05,
    )
    return measure(folder).alignment


def test_frames_come_when_a_hand_has_turned_and_a_camera_has_exposed(tmp_path: Path) -> None:
    """Two minutes for a turn in the dark, a frame a minute: common practice, no source."""
    before = measured(tmp_path)
    paths = simulate_after(tmp_path / "after", before, (0.5, 0.0), turns_deg=(0.0, 10.0, 20.0))
    assert before.utc is not None
    times = [seconds_between(before.utc, frame.utc) for frame in read_frames(paths).frames]
    assert times == pytest.approx([120.0, 180.0, 240.0], abs=0.01)


@pytest.mark.parametrize(("megabytes", "is_read"), [(9, True), (11, False)])
def test_a_truth_file_far_larger_than_any_is_not_read(tmp_path: Path, megabytes: int, is_read: bool) -> None:
    """The largest simulation, of 10,000 frames, has a truth of 0.9 MB. This one tells of a mount a degree higher."""
    before = measured(tmp_path)
    path = tmp_path / "truth.json"
    truth = json.loads(path.read_text(encoding="utf-8"))
    measured_deg = truth["axis"]["altitude_deg"]
    truth["axis"]["altitude_deg"] += 1.0
    path.write_text(json.dumps(truth).ljust(megabytes * 1_000_000), encoding="utf-8")
    simulate_after(tmp_path / "after", before, (0.0, 0.0), turns_deg=(0.0,))
    after = json.loads((tmp_path / "after" / "truth.json").read_text(encoding="utf-8"))
    assert after["axis"]["altitude_deg"] == pytest.approx(measured_deg + is_read, abs=0.1)
