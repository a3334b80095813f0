"""Files are written whole or not at all, and nothing of the user's is lost."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.writing import is_leftover, is_ours, new_file, put_beside, rewrite_text, write_text

OURS = '{"schema": "polarcheck.measure/1"}'
POSIX = pytest.mark.skipif(os.name != "posix", reason="needs modes or links of POSIX")


def left(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_text_is_written_and_nothing_else_is_left(tmp_path: Path) -> None:
    write_text(tmp_path / "a.json", OURS)
    assert (tmp_path / "a.json").read_bytes() == (OURS + "\n").encode()
    assert left(tmp_path) == ["a.json"]


@pytest.mark.parametrize("name", ["a.json.part", "a.part", ".part", "a.json~"])
def test_neighbours_of_the_user_stay(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine", encoding="utf-8")
    write_text(tmp_path / "a.json", OURS)
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
def test_full_disk_keeps_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int) -> None:
    path = tmp_path / "a.json"
    path.write_text("old", encoding="utf-8")

    def full(handle: int) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"a.json: cannot be written \("):
        write_text(path, OURS)
    assert path.read_text(encoding="utf-8") == "old"
    assert left(tmp_path) == ["a.json"]


def test_interrupt_while_writing_keeps_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(KeyboardInterrupt), new_file(path) as stream:
        stream.write(b"half")
        raise KeyboardInterrupt
    assert path.read_text(encoding="utf-8") == "old"
    assert left(tmp_path) == ["a.json"]


@POSIX
def test_link_onto_a_frame_gives_way_and_the_frame_stays(tmp_path: Path) -> None:
    frame = tmp_path / "frame.fits"
    frame.write_bytes(b"SIMPLE  = T")
    (tmp_path / "plot.png").symlink_to(frame)
    write_text(tmp_path / "plot.png", "picture")
    assert frame.read_bytes() == b"SIMPLE  = T"
    assert not (tmp_path / "plot.png").is_symlink()


@POSIX
def test_link_onto_a_result_of_ours_is_followed(tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / "r.json").write_text(OURS, encoding="utf-8")
    (tmp_path / "r.json").symlink_to(tmp_path / "kept" / "r.json")
    write_text(tmp_path / "r.json", OURS + " ")
    assert (tmp_path / "r.json").is_symlink()
    assert (tmp_path / "kept" / "r.json").read_text(encoding="utf-8") == OURS + " \n"


@POSIX
def test_edited_file_keeps_link_modes_line_ends_and_byte_order_mark(tmp_path: Path) -> None:
    real = tmp_path / "real.toml"
    real.write_bytes(b"\xef\xbb\xbf[mount]\r\n# mine\r\n")
    real.chmod(0o640)
    (tmp_path / "rig.toml").symlink_to("real.toml")
    rewrite_text(tmp_path / "rig.toml", "[mount]\n# mine\na = 1")
    assert (tmp_path / "rig.toml").is_symlink()
    assert real.read_bytes() == b"\xef\xbb\xbf[mount]\r\n# mine\r\na = 1\r\n"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert left(tmp_path) == ["real.toml", "rig.toml"]


def test_edited_file_with_plain_line_ends_keeps_them(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(b"[mount]\n")
    rewrite_text(path, "[mount]\na = 1")
    assert path.read_bytes() == b"[mount]\na = 1\n"


@pytest.mark.parametrize("write", [write_text, rewrite_text])
def test_read_only_file_stays(tmp_path: Path, write: object) -> None:
    path = tmp_path / "a.json"
    path.write_text("old", encoding="utf-8")
    path.chmod(0o444)
    with pytest.raises(InputError, match="read-only and was left as it is"):
        write(path, OURS)  # type: ignore[operator]
    assert path.read_text(encoding="utf-8") == "old"
    path.chmod(0o644)


@POSIX
def test_pipe_or_device_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.json")
    for path in (tmp_path / "a.json", Path("/dev/null")):
        with pytest.raises(InputError, match="no plain file"):
            write_text(path, OURS)
        assert not is_ours(path)
    assert stat.S_ISFIFO((tmp_path / "a.json").stat().st_mode)


def test_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        write_text(tmp_path / "none" / "a.json", OURS)


@pytest.mark.parametrize(
    ("content", "ours"),
    [
        (b"", True),
        (OURS.encode(), True),
        (b'{\n  "schema": "polarcheck.follow/1",', True),
        (b"\x89PNG\r\n\x1a\n" + b"IHDR tEXtSoftware\0polarcheck", True),
        (b'<?xml version="1.0"?><svg><dc:title>polarcheck</dc:title>', True),
        (b"\x89PNG\r\n\x1a\n" + b"IHDR of another", False),
        (b"<?xml" + 3000 * b" " + b"<dc:title>polarcheck</dc:title>", True),  # after a picture's own preamble
        (
            b"<?xml" + 6000 * b" " + b"<text>as polarcheck says</text>",
            False,
        ),  # somewhere in another's picture
        (b'{"schema": "other/1"}', False),
        (b'{"a": "polarcheck"}', False),
        (b"SIMPLE  =                    T", False),
        (b"polarcheck", False),
    ],
)
def test_what_this_program_made_is_known_again(tmp_path: Path, content: bytes, ours: bool) -> None:
    (tmp_path / "a").write_bytes(content)
    assert is_ours(tmp_path / "a") is ours


def test_twenty_writers_at_once_leave_one_whole_file(tmp_path: Path) -> None:
    code = (
        "import sys, pathlib; from polarcheck.writing import write_text;"
        '[write_text(pathlib.Path(sys.argv[1]), \'{"schema": "polarcheck.x/1", "n": "\' + sys.argv[2] * 9000 + \'"}\') '
        "for _ in range(20)]"
    )
    path = tmp_path / "r.json"
    runs = [
        subprocess.Popen([sys.executable, "-c", code, str(path), str(i % 10)], stderr=subprocess.PIPE)
        for i in range(20)
    ]
    said = [run.communicate()[1] for run in runs]
    assert [run.returncode for run in runs] == [0] * 20, said
    text = path.read_text(encoding="utf-8")
    assert len(text) == len('{"schema": "polarcheck.x/1", "n": ""}\n') + 9000
    assert left(tmp_path) == ["r.json"]


def test_leftover_of_a_killed_run_is_known(tmp_path: Path) -> None:
    assert is_leftover(".polarcheck-0123456789abcdef.part")
    assert not is_leftover("r.json.part")


def test_what_is_replaced_by_something_else_stays_beside(tmp_path: Path) -> None:
    path = tmp_path / "r.json"
    assert put_beside(path, "a") is None
    for text, kept in (("a", None), ("a", None), ("b", "r.older-1.json"), ("c", "r.older-2.json")):
        older = put_beside(path, text)
        assert (older and older.name) == kept
        write_text(path, text)
    contents = {found.name: found.read_text(encoding="utf-8") for found in tmp_path.iterdir()}
    assert contents == {"r.json": "c\n", "r.older-1.json": "a\n", "r.older-2.json": "b\n"}


def test_what_cannot_be_kept_beside_is_not_replaced(tmp_path: Path) -> None:
    path = tmp_path / ("r" * 245 + ".json")  # the longest name that most file systems have is of 255 bytes
    path.write_text("a", encoding="utf-8")
    with pytest.raises(InputError, match="left as it is"):
        put_beside(path, "b")
