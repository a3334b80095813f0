"""No line of any command's text is longer than the terminal, at 80 and at 40 columns."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.commands import SAMPLES, run

NIGHT = ("--target", "M31", "--at", "2026-11-14T22:00:00")
OPTICS = ("--focal-length", "250", "--pixel-size", "6", "--sensor", "1200x900")
KEPT, RIG = "kept.json", "rig.toml"

COMMANDS = {
    "measure": ("measure", SAMPLES / "north_sweep"),
    "measure with warnings": (
        "measure",
        SAMPLES / "north_sweep",
        SAMPLES / "tracked_only",
        "--site",
        "47.3,14",
    ),
    "measure two frames": ("measure", *sorted((SAMPLES / "north_sweep").glob("*0[18]*.fz"))),
    "correct": ("correct", KEPT),
    "correct with a rig": ("correct", KEPT, "--rig", RIG),
    "correct for a target": ("correct", KEPT, "--pole", "target", *NIGHT, "--for", "2h"),
    "follow": ("follow", KEPT, *sorted((SAMPLES / "after_correction").glob("*.fz"))[:2]),
    "drift": ("drift", KEPT, *NIGHT, "--for", "10min"),
    "drift for long": ("drift", KEPT, *NIGHT, "--for", "12h", "--rate", "king"),
    "drift beside a sequence": ("drift", KEPT, "--check", SAMPLES / "tracked_only"),
    "exposure": ("exposure", KEPT, *NIGHT, "--rig", RIG, "--want", "5min"),
    "exposure without limit": (
        *("exposure", "--error", "0,0", "--site", "47.3,11.2", "--pressure", "0", "--guided"),
        *(*OPTICS, *NIGHT),
    ),
    "exposure of a list": ("exposure", KEPT, "--rig", RIG, "--targets", "list.txt", *NIGHT[2:]),
    "map": ("map", KEPT, "--rig", RIG),
    "timeline": ("timeline", KEPT, "--rig", RIG, *NIGHT, "--guided"),
    "stars": ("stars", SAMPLES / "north_sweep"),
    "rough": ("rough", *NIGHT[2:], "--site", "47.3,11.2"),
    "rough by day": ("rough", "--at", "2026-11-14T13:00:00", "--site=-31.4,20.6"),
    "rough as a list": ("rough", "--at", "2026-11-14T13:00:00", "--site", "47.3,11.2", "--checklist"),
    "plan": ("plan", *NIGHT[2:], "--site", "47.3,11.2"),
    "plan of a mount that only tracks": ("plan", *NIGHT[2:], "--site", "47.3,11.2", "--tracked"),
    "rig show": ("rig", "show", RIG),
    "rig show of an empty file": ("rig", "show", "empty.toml"),
    "rig new": ("rig", "new", "another.toml"),
    "simulate": (
        "simulate",
        "practice",
        "--error",
        "1,1",
        "--site",
        "47,11",
        "--at",
        NIGHT[3],
        "--frames",
        "1",
    ),
}
REFUSED = {
    "folder without frames": ("measure", "nothing"),
    "one frame": ("measure", SAMPLES / "north_sweep" / "north_sweep_01.fits.fz"),
    "target that sets": ("drift", KEPT, "--target", "0,-89", *NIGHT[2:], "--for", "10min"),
    "wrong option": ("exposure", KEPT, *NIGHT, "--tolerance", "a lot of pixels"),
    "no such option": ("measure", "--nonsense", "nothing"),
}


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a kept result, rig files, and a list of targets."""
    folder = tmp_path_factory.mktemp("night")
    assert run("measure", SAMPLES / "north_sweep", "--out", folder / KEPT).exit_code == 0
    assert run("rig", "new", folder / RIG, "--example").exit_code == 0
    (folder / "empty.toml").write_text("[mount]\n", encoding="utf-8")
    targets = "M31\nM13\nThe one with the long name that nobody can remember: 83.82,-5.39\nbelow: 0,-89\n"
    (folder / "list.txt").write_text(targets, encoding="utf-8")
    (folder / "nothing").mkdir()
    return folder


def assert_fits(text: str, terminal: int) -> None:
    """Only one name, which nothing can break, and a command to paste, which a break would spoil, may be longer."""
    for line in text.splitlines():
        whole = re.fullmatch(r" *(polarcheck: |warning: )?\S+|Then: polarcheck .+", line)
        assert len(line) < terminal or whole, line


@pytest.mark.parametrize("terminal", [80, 40])
@pytest.mark.parametrize("name", [*COMMANDS, *REFUSED])
def test_lines_fit(name: str, terminal: int, night: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(night)
    monkeypatch.setenv("COLUMNS", str(terminal))
    result = run(*(COMMANDS | REFUSED)[name])
    assert (result.exit_code == 0) == (name in COMMANDS), result.output
    assert_fits(result.stdout, terminal)
    assert_fits(result.stderr, terminal)
    Path("another.toml").unlink(missing_ok=True)
