"""However frames are offered to the command, each file counts once and is named so that it can be found."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.commands import ERROR, SMALL, answered, frames, refused, strict_json


def used(result: dict[str, Any]) -> list[str]:
    return [frame["file"] for frame in result["frames"] if frame["used"]]


@pytest.fixture
def night(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of four frames below the current one."""
    monkeypatch.chdir(tmp_path)
    frames(tmp_path / "night", 4)
    return tmp_path / "night"


NAMES = [f"simulated_0{i}.fits" for i in range(1, 5)]


@pytest.mark.parametrize(
    "offers",
    [
        ["night"],
        ["./night/"],
        ["night/../night"],
        ["night/*.fits"],
        ["night/simulated_0?.fits"],
        ["night/simulated_0[1-4].fits"],
        ["night", "night"],
        ["night", "night/simulated_01.fits"],
        ["*"],
    ],
    ids=" ".join,
)
def test_relative_paths_and_patterns(offers: list[str], night: Path) -> None:
    result, _ = answered("measure", *offers)
    assert [Path(name).name for name in used(result)] == NAMES
    assert len(result["frames"]) == 4
    again, _ = answered("measure", night.absolute())
    assert result["error"] == again["error"]


def test_two_folders_with_equal_names_are_told_apart(night: Path) -> None:
    shutil.copytree(night, night.with_name("copy"))
    for path in sorted(night.glob("*.fits"))[2:]:
        path.unlink()
    for path in sorted(night.with_name("copy").glob("*.fits"))[:2]:
        path.unlink()
    shutil.copy(night / NAMES[0], night.with_name("copy") / NAMES[0])
    result, _ = answered("measure", "night", "copy")
    assert len(used(result)) == 4
    files = [frame["file"] for frame in result["frames"]]
    assert len(set(files)) == 5
    assert {"night/simulated_01.fits", "copy/simulated_01.fits"} <= set(files)


def test_subfolders_only_when_asked(night: Path) -> None:
    (night / "late").mkdir()
    (night / NAMES[3]).rename(night / "late" / NAMES[3])
    shallow, _ = answered("measure", night)
    deep, _ = answered("measure", night, "--recursive")
    assert used(shallow) == NAMES[:3]
    assert used(deep) == [*NAMES[:3], f"late/{NAMES[3]}"]


@pytest.mark.parametrize(
    "name",
    [
        "Polhöhe Größe.fits",
        "北極星.fits",
        "a b  c.fits",
        'it\'s "quoted" & <b>.fits',
        "-33,18.fits",
        "x" * 240 + ".fits",
    ],
)
def test_odd_file_names(name: str, night: Path) -> None:
    if sys.platform == "win32" and '"' in name:
        pytest.skip("no such names there")
    (night / NAMES[0]).rename(night / name)
    result, _ = answered("measure", night)
    assert len(used(result)) == 4
    # long ones are cut with an ellipsis, all others stand as they are
    assert used(result)[0] == (name if len(name) < 200 else name[:200] + "…")
    kept = night / "Ergebnis für später.json"
    result, _ = answered("measure", night, "--out", kept)
    assert strict_json(kept.read_text(encoding="utf-8")) == result


def test_folder_called_like_an_option_after_two_dashes(night: Path) -> None:
    night.rename(night.with_name("--night"))
    result, _ = answered("measure", "./--night")
    assert len(used(result)) == 4


def test_empty_folder_called_as_a_frame_among_files_is_left_out(night: Path) -> None:
    """As a shell's *.fits brings it along."""
    (night / NAMES[1]).unlink()
    (night / NAMES[1]).mkdir()
    result, _ = answered("measure", *sorted(night.glob("*.fits")))
    assert used(result) == [NAMES[0], NAMES[2], NAMES[3]]
    (left,) = [frame for frame in result["frames"] if not frame["used"]]
    assert left["file"] == NAMES[1]
    assert "is a folder" in left["reason"]


def test_wrongly_typed_name_among_right_ones_is_refused(night: Path) -> None:
    assert "there is no file or folder" in refused(
        "measure", *sorted(night.glob("*.fits")), night / "simulatd_01.fits"
    )


def test_refusal_for_too_short_an_arc_names_the_files_left_out(tmp_path: Path) -> None:
    """Else the reader wonders where the other frames are."""
    paths = frames(tmp_path, 6, axis_angles_deg=[5, 5.4, 5.8, 40, 60, 80], camera=SMALL)
    for path in paths[3:]:
        path.write_bytes(path.read_bytes()[:3000])
    said = refused("measure", tmp_path)
    assert "Left out: 3" in said
    assert all(f"{path.name}: is not whole yet" in said for path in paths[3:])


def test_many_unusable_files_are_named_up_to_five(tmp_path: Path) -> None:
    for i in range(12):
        (tmp_path / f"frame_{i:02d}.fits").write_bytes(b"")
    said = refused("measure", tmp_path)
    assert said.count("is empty (0 bytes)") == 5
    assert "and 7 more" in said


def test_answer_stays_the_same_among_files_of_other_kinds(night: Path) -> None:
    (night / "notes.txt").write_text("windy")
    (night / ".hidden.fits").write_text("no frame")
    (night / "dark.fits").write_text("not a frame either")
    result, _ = answered("measure", night)
    assert used(result) == NAMES
    assert [frame["file"] for frame in result["frames"]] == [*NAMES, "dark.fits"]
    assert result["error"]["azimuth_arcmin"] == pytest.approx(ERROR[0], abs=1.5)
