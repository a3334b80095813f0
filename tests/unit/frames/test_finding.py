"""From folders, files and patterns to the list of frames."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.frames import find_frames
from polarcheck.frames.finding import natural_key, offers


def touch(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"x")


def names(paths: list[Path]) -> list[str]:
    return [path.name for path in paths]


def test_folder_lists_every_ending_in_any_case_in_natural_order(tmp_path: Path) -> None:
    good = ["f1.fits", "f2.FIT", "f3.fts", "f4.fits.gz", "f5.fit.fz", "f6.fz", "f9.new", "f10.Wcs"]
    touch(tmp_path, *good, "notes.txt", "f1.axy", "f1.fits.bak", ".hidden.fits", "._f1.fits", "a.gz")
    (tmp_path / "folder.fits").mkdir()
    assert names(find_frames([tmp_path])) == good


def test_subfolders_are_left_alone_unless_asked_for(tmp_path: Path) -> None:
    touch(tmp_path, "a.fits", "east/b.fits", "west/c.fits", ".trash/d.fits")
    assert names(find_frames([tmp_path])) == ["a.fits"]
    found = offers([tmp_path], recursive=True)
    assert [(offer.name, offer.folder) for offer in found] == [
        ("a.fits", ""),
        ("east/b.fits", "east"),
        ("west/c.fits", "west"),
    ]


def test_folder_named_like_a_frame_is_a_folder(tmp_path: Path) -> None:
    touch(tmp_path, "x.fits/a.fits")
    assert names(find_frames([tmp_path / "x.fits"])) == ["a.fits"]


def test_file_named_twice_counts_once(tmp_path: Path) -> None:
    touch(tmp_path, "a.fits", "b.fits")
    listed = find_frames([tmp_path / "b.fits", tmp_path, tmp_path / "." / "a.fits"])
    assert names(listed) == ["a.fits", "b.fits"]


def test_pattern_is_expanded_where_the_shell_did_not(tmp_path: Path) -> None:
    touch(tmp_path, "a1.fits", "a2.fits", "b1.fits", "a3.txt", "sub/a4.fits", "[x].fits")
    assert names(find_frames([tmp_path / "a*"])) == ["a1.fits", "a2.fits"]
    assert names(find_frames([tmp_path / "s*"])) == ["a4.fits"]
    assert names(find_frames([tmp_path / "[x].fits"])) == ["[x].fits"]
    with pytest.raises(InputError, match="no frame matches"):
        find_frames([tmp_path / "z*.fits"])


def test_file_that_is_named_itself_is_listed_whatever_its_ending(tmp_path: Path) -> None:
    touch(tmp_path, "frame.dat")
    assert names(find_frames([tmp_path / "frame.dat"])) == ["frame.dat"]


def test_missing_path_is_an_error_that_names_it(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no file or folder .*no\\x1bwhere"):
        find_frames([tmp_path / "no\x1bwhere"])


def test_folder_without_frames_says_what_it_looked_for(tmp_path: Path) -> None:
    touch(tmp_path, "notes.txt")
    with pytest.raises(InputError, match=r"no frame \(endings: \.fits, .*\.wcs; \.jpg, .* raw files\)$"):
        find_frames([tmp_path])


def test_folder_whose_subfolders_hold_frames_says_recursive(tmp_path: Path) -> None:
    touch(tmp_path, "night/a.fits")
    with pytest.raises(InputError, match="subfolders do") as caught:
        find_frames([tmp_path])
    assert caught.value.parameters == ("recursive",)
    with pytest.raises(InputError) as caught:
        find_frames([tmp_path / "night" / ".."] if os.name == "nt" else [tmp_path])
    assert "holds no frame" in str(caught.value)


def test_equal_names_in_two_folders_are_told_apart_by_the_folder(tmp_path: Path) -> None:
    touch(tmp_path, "one/a.fits", "two/a.fits")
    found = offers([tmp_path / "one", tmp_path / "two"])
    assert [(offer.name, offer.folder) for offer in found] == [("one/a.fits", "one"), ("two/a.fits", "two")]


def test_name_that_could_steer_a_terminal_is_escaped(tmp_path: Path) -> None:
    if os.name == "nt":
        pytest.skip("such names do not exist here")
    touch(tmp_path, "a\x1b[31m.fits")
    assert offers([tmp_path])[0].name == r"a\x1b[31m.fits"


def test_natural_order_counts_numbers() -> None:
    assert sorted(["f10", "f9", "F1", "f"], key=natural_key) == ["f", "F1", "f9", "f10"]
    assert sorted(["10", "b", "9"], key=natural_key) == ["9", "10", "b"]


@pytest.mark.parametrize(("empty", "hinted"), [(900, True), (1500, False)])
def test_a_thousand_subfolders_are_looked_into_for_a_hint(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, empty: int, hinted: bool
) -> None:
    """Enough for all nights of some years, and no long wait where somebody names a whole disc (common practice)."""

    def walk(top: Path, onerror: object = None) -> Iterator[tuple[str, list[str], list[str]]]:
        yield str(top), [], []
        if onerror is None:
            yield from ((f"{top}/{i}", [], []) for i in range(empty))
            yield f"{top}/last", [], ["a.fits"]

    monkeypatch.setattr(os, "walk", walk)
    with pytest.raises(InputError) as caught:
        find_frames([tmp_path])
    assert ("its subfolders do" in str(caught.value)) is hinted
