"""Every command line of the documentation runs, in the order of its page, on the sample frames.

Examples in Python run as doctests of the same pages (`pytest docs README.md`).
"""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from tests.commands import SAMPLES, run

ROOT = Path(__file__).parents[2]
PAGES = ["README.md", *sorted(f"docs/{page.name}" for page in (ROOT / "docs").glob("*.md"))]

PLACES = {
    "LAT,LON": "47.3,11.2",
    "FOLDER": "frames",
    "frames/": "frames",
    "ALIGNMENT": "result.json",
    "RESULT.json": "result.json",
    "SEQUENCE": "sample_frames/tracked_only",
    "TIME": "2026-11-14T22:00:00",
    "…": "2026-11-14T22:00:00",
    "after.fits": "after.fits.fz",
}
"""What stands for the reader's own things."""

PARTS = {
    "watch FOLDER",
    "watch frames/ --rig rig.toml",  # runs until the interrupt key; test_watch.py runs it
    "measure --stars",
    "correct --want 10min --target M31 --at TIME --rig rig.toml",
    "simulate FOLDER",
    "rig new",
    "rig show",
    "correct RESULT.json --keep-response",  # the sample frames' turn is too small; test_correct_follow.py runs it
}
"""Named in a sentence, and not meant to be typed alone like that."""

FENCED = re.compile(r"^```(?:sh|console)\n(.*?)^```", re.MULTILINE | re.DOTALL)
TYPED = re.compile(r"(?:^|&& |\$ )(?:\.venv/bin/)?polarcheck ([^\n#&]+)", re.MULTILINE)
SPOKEN = re.compile(r"`polarcheck ([a-z]+ [^`]+)`")


def command_lines(page: str) -> list[str]:
    """The command lines of a page in its order, those of blocks and those within sentences."""
    text = (ROOT / page).read_text(encoding="utf-8")
    found = [
        (block.start(1) + line.start(), line[1].strip())
        for block in FENCED.finditer(text)
        for line in TYPED.finditer(block[1])
        if line[1].strip() not in PARTS
    ]
    found += [(line.start(), line[1]) for line in SPOKEN.finditer(text) if line[1] not in PARTS]
    return [line for _, line in sorted(found)]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A reader's folder: the sample frames, a sweep of one's own, a frame after the turn, a rig file, a result."""
    for sweep in ("north_sweep", "after_correction", "tracked_only", "south_sweep"):
        shutil.copytree(SAMPLES / sweep, tmp_path / "sample_frames" / sweep)
    shutil.copytree(SAMPLES / "north_sweep", tmp_path / "frames")
    shutil.copy(sorted((SAMPLES / "after_correction").glob("*.fz"))[0], tmp_path / "after.fits.fz")
    monkeypatch.chdir(tmp_path)
    assert run("rig", "new", "rig.toml", "--example").exit_code == 0
    assert run("measure", "frames", "--out", "result.json").exit_code == 0
    return tmp_path


def test_command_lines_are_found() -> None:
    found = {page: command_lines(page) for page in PAGES}
    assert "measure sample_frames/north_sweep" in found["README.md"]
    assert "correct result.json" in found["README.md"]
    assert len(found["docs/correct.md"]) >= 4
    assert sum(map(len, found.values())) >= 20


@pytest.mark.parametrize("page", [page for page in PAGES if command_lines(page)])
def test_every_command_line_of_a_page_runs(page: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    places = PLACES
    if (
        page == "docs/night.md"
    ):  # typed in the folder of the frames, into which the frame after the turn comes
        monkeypatch.chdir(folder / "frames")
        places = PLACES | {"after.fits": "../after.fits.fz"}
    for line in command_lines(page):
        words = [places.get(word, word) for word in shlex.split(line)]
        if words[:2] == ["rig", "new"]:  # the reader's first rig file; here it is there already
            Path(words[2] if len(words) > 2 else "rig.toml").unlink(missing_ok=True)
        if words[0] in ("plan", "rough") and "--at" not in words:  # now it may be day, or the Moon in the way
            words += ["--at", "2026-11-14T20:00:00"]
        result = run(*words)
        assert result.exit_code == 0, f"{line}\n{result.output}"
        for option in ("--plot", "--out", "--mark"):
            if option in words:
                assert Path(words[words.index(option) + 1]).stat().st_size > 100
