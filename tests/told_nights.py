"""A night with its file: a sweep, turns with what they brought, frames of a target; for pages and tables to tell."""

from __future__ import annotations

import shutil
from pathlib import Path

from polarcheck.followup import follow
from polarcheck.knobs import correct, told_turns
from polarcheck.measurement import measure
from polarcheck.night import NightBook
from polarcheck.rig import Rig, read_rig
from polarcheck.simulate import simulate_after
from tests.commands import NORTH, run

RIG = """[mount.azimuth]
arcmin_per_turn = 50.0
backlash_turns = 0.125
clockwise_moves = "east"
[mount.altitude]
arcmin_per_turn = 50.0
backlash_turns = 0.125
clockwise_moves = "up"
[camera]
width_px = {width}
height_px = {height}
pixel_size_um = 6.0
[optics]
focal_length_mm = {focal}
"""


def told_night(folder: Path, turns: int = 2, width: int = 320, focal_mm: float = 62.5) -> Path:
    """Write a rig file, frames and the night's file into a folder, and return it.

    Parameters
    ----------
    folder : pathlib.Path
        Made.
    turns : int
        How often the knobs are turned at most.
    width : int
        Of the frames. [px]
    focal_mm : float
        [mm]
    """
    rig_path = folder.with_name(f"{folder.name}.toml")
    rig_path.write_text(RIG.format(width=width, height=width * 3 // 4, focal=focal_mm), encoding="utf-8")
    site = f"{NORTH.latitude_deg},{NORTH.longitude_deg},{NORTH.height_m}"
    made = run(
        *("simulate", folder, "--error", "40,-25", "--site", site, "--frames", 5, "--noise-px", 0.05),
        *("--at", "2026-11-14T20:10:00", "--rig", rig_path),
    )
    assert made.exit_code == 0, made.output
    rig_path = rig_path.rename(folder / "rig.toml")
    return _evening(folder, read_rig(rig_path), turns, site)


def _evening(folder: Path, rig: Rig, turns: int, site: str) -> Path:
    clock = iter(range(1, 1000))
    book = NightBook(folder, rig, lambda: f"2026-11-14T21:{next(clock):02d}:00.00Z")
    result = measure(folder)
    alignment = result.alignment
    book.write(book.measured(result, [folder]))
    for step in range(turns):
        advice = correct(alignment, rig)
        book.write(book.advice(advice))
        if advice.next.action != "turn":
            break
        told = told_turns(alignment, rig)
        made = _moved_in(folder, step, simulate_after(folder / f"after_{step}", alignment, told, rig=rig))
        book.write(book.turned(told, as_told=True))
        followed = follow(alignment, made, rig=rig, turned=told)
        alignment = followed.alignment
        book.write(book.followed(followed, made))
    book.write(book.advice(correct(alignment, rig)))
    _lights(folder, alignment.error.azimuth_arcmin, alignment.error.altitude_arcmin, site)
    return folder


def _moved_in(folder: Path, step: int, made: list[Path]) -> list[Path]:
    """The frames of a step, moved to the others."""
    found = [path.rename(folder / f"after_{step}_{path.name}") for path in made]
    shutil.rmtree(folder / f"after_{step}")
    return found


def _lights(folder: Path, azimuth: float, altitude: float, site: str) -> None:
    """Eight frames of one field, 40 s apart, on a mount that only tracks."""
    target = folder / "target"
    made = run(
        *("simulate", target, f"--error={azimuth:.4f},{altitude:.4f}", "--site", site, "--tracked"),
        *("--at", "2026-11-14T22:30:00", "--rig", folder / "rig.toml", "--frames", 8, "--noise-px", 0.05),
    )
    assert made.exit_code == 0, made.output
    for path in sorted(target.glob("*.fits*")):
        path.rename(folder / f"light_{path.name}")
    shutil.rmtree(target)
