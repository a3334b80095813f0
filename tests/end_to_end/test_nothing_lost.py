"""What lies at the place of a result, a picture or a simulation stays unless this program made it."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from tests.commands import SAMPLES, refused, run

SWEEP = SAMPLES / "north_sweep"
PLACE = ("--error", "23,-11", "--site", "47.3,11.2")
POINT = ("--target", "M31", "--at", "2026-11-14T21:10:00", "--for", "10min")
OPTICS = ("--focal-length", "250", "--pixel-size", "6", "--sensor", "120x90")
SIMULATE = ("--error", "5,5", "--site", "47.3,11.2", "--at", "2026-11-14T21:10:00", "--frames", "2")


def commands(folder: Path) -> dict[str, tuple[tuple[object, ...], Path]]:
    """Every option that keeps a file, with the file."""
    return {
        "out": (("measure", SWEEP, "--out", folder / "a.json"), folder / "a.json"),
        "plot": (("measure", SWEEP, "--plot", folder / "a.png"), folder / "a.png"),
        "svg": (("drift", *PLACE, *POINT, "--plot", folder / "a.svg"), folder / "a.svg"),
        "mark": (("correct", SWEEP, "--mark", folder / "m.png"), folder / "m.png"),
        "look": (
            ("exposure", *PLACE, *OPTICS, *POINT[:4], "--fwhm", "3arcsec", "--look", folder / "l.png"),
            folder / "l.png",
        ),
    }


@pytest.mark.parametrize("kind", ["out", "plot", "svg", "mark", "look"])
def test_file_of_the_user_stays_unless_forced_and_ours_gives_way(tmp_path: Path, kind: str) -> None:
    arguments, path = commands(tmp_path)[kind]
    path.write_bytes(b"mine")
    assert "was not made by polarcheck" in refused(*arguments)
    assert path.read_bytes() == b"mine"
    assert run(*arguments, "--force").exit_code == 0
    first = path.read_bytes()
    assert first != b"mine"
    assert run(*arguments).exit_code == 0
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


@pytest.mark.skipif(os.name != "posix", reason="needs links")
@pytest.mark.parametrize("force", [(), ("--force",)])
@pytest.mark.parametrize("kind", ["out", "plot", "svg", "mark", "look"])
def test_link_onto_a_frame_never_costs_the_frame(tmp_path: Path, kind: str, force: tuple[str, ...]) -> None:
    arguments, path = commands(tmp_path)[kind]
    frame = tmp_path / "frame.fits"
    frame.write_bytes(b"SIMPLE  =                    T")
    path.symlink_to(frame)
    result = run(*arguments, *force)
    assert result.exit_code == (0 if force else 1)
    assert frame.read_bytes() == b"SIMPLE  =                    T"


def test_simulation_replaces_its_own_only(tmp_path: Path) -> None:
    folder = tmp_path / "practice"
    assert run("simulate", folder, *SIMULATE, "--frames", "3").exit_code == 0
    assert run("simulate", folder, *SIMULATE).exit_code == 0
    assert sorted(path.name for path in folder.iterdir()) == [
        "simulated_01.fits.fz",
        "simulated_02.fits.fz",
        "truth.json",
    ]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("light_001.fits", b"SIMPLE  ="),
        ("simulated_01.fits.fz", b"SIMPLE  = of another program"),
        ("simulated_holiday.fits.fz", b"mine"),
        ("truth.json", b'{"my": "truth"}'),
        ("notes.txt", b"mine"),
    ],
)
def test_simulation_refuses_a_folder_that_holds_anything_else(
    tmp_path: Path, name: str, content: bytes
) -> None:
    assert run("simulate", tmp_path, *SIMULATE).exit_code == 0
    (tmp_path / name).write_bytes(content)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert "which no simulation wrote" in refused("simulate", tmp_path, *SIMULATE, "--seed", "5")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_result_goes_beside_another_one(tmp_path: Path) -> None:
    sweep, kept = SAMPLES / "north_sweep", tmp_path / "r.json"
    assert run("measure", sweep, "--out", kept).exit_code == 0
    first = kept.read_bytes()
    again = run("measure", sweep, "--out", kept)
    assert "older" not in again.stderr
    other = run("measure", sweep, "--out", kept, "--pole", "true")
    assert (other.exit_code, (tmp_path / "r.older-1.json").read_bytes()) == (0, first)
    assert "r.json held another result; that is kept as r.older-1.json." in re.sub(r"\s+", " ", other.stderr)
    assert run("measure", sweep, "--out", kept, "--force").exit_code == 0
    assert kept.read_bytes() == first
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r.json", "r.older-1.json"]
