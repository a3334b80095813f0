"""Bad input through the whole command: a refusal that says where and what to do, or a warning, never a traceback.

`tests.commands` checks of every run: the exit code, no control or steering characters, no fault of the program.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.commands import answered, frames, refused


@pytest.fixture(scope="session")
def _good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("good")
    frames(folder, 4)
    return folder


@pytest.fixture
def good(_good: Path, tmp_path: Path) -> list[Path]:
    """Four good frames of one camera, to be spoiled."""
    folder = tmp_path / "night"
    shutil.copytree(_good, folder)
    return sorted(folder.iterdir())


def codes(result: dict[str, Any]) -> set[str]:
    return {warning["code"] for warning in result["warnings"]}


def reasons(result: dict[str, Any]) -> dict[str, str]:
    return {frame["file"]: frame["reason"] for frame in result["frames"] if not frame["used"]}


def test_good_frames_give_an_answer_without_a_word(good: list[Path]) -> None:
    result, said = answered("measure", good[0].parent)
    assert (result["fit"]["frames_used"], result["warnings"], said) == (4, [], "")


# nothing to measure


def test_empty_folder(tmp_path: Path) -> None:
    said = refused("measure", tmp_path)
    assert tmp_path.name in said
    assert "holds no FITS file" in said
    assert ".fits" in said


def test_folder_of_other_files(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("cold tonight")
    assert "holds no FITS file" in refused("measure", tmp_path)


def test_frames_in_a_subfolder(good: list[Path]) -> None:
    assert "--recursive" in refused("measure", good[0].parent.parent)


def test_path_that_is_not_there(tmp_path: Path) -> None:
    assert "there is no file or folder" in refused("measure", tmp_path / "gone")


def test_text_named_as_a_frame(tmp_path: Path) -> None:
    (tmp_path / "notes.fits").write_text("cold tonight")
    said = refused("measure", tmp_path)
    assert "notes.fits: " in said
    assert "not a FITS file" in said


def test_one_frame(good: list[Path]) -> None:
    said = refused("measure", good[0])
    assert "1 usable frame" in said
    assert "two solved frames at different right ascensions are the least" in said


def test_copies_of_one_frame(good: list[Path]) -> None:
    copies = [Path(shutil.copy(good[0], good[0].with_name(f"copy_{i}.fits"))) for i in range(3)]
    assert "copies" in refused("measure", good[0], *copies)


def test_arc_below_a_degree(tmp_path: Path) -> None:
    frames(tmp_path, axis_angles_deg=[5.0, 5.2, 5.4], noise_px=0.3)
    said = refused("measure", tmp_path)
    assert "leave the axis uncertain" in said
    assert "Turn the mount by 30 deg or more" in said
