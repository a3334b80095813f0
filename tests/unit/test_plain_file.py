"""Files read whole are plain ones of a bounded size."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from polarcheck.alignment import read_alignment
from polarcheck.errors import InputError
from polarcheck.plain_file import read_plain_file
from polarcheck.rig import read_rig
from polarcheck.sky import read_targets

POSIX = pytest.mark.skipif(os.name != "posix", reason="needs pipes and devices of POSIX")


def test_file_is_read_up_to_its_bound(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"12345")
    assert read_plain_file(path, 5, "a rig file") == b"12345"
    with pytest.raises(InputError, match=r"a.toml: is too large for a rig file"):
        read_plain_file(path, 4, "a rig file")


@POSIX
@pytest.mark.parametrize("read", [read_rig, read_alignment, read_targets])
@pytest.mark.parametrize("kind", ["pipe", "zero", "random"])
def test_pipe_or_endless_device_is_refused_at_once(tmp_path: Path, read: object, kind: str) -> None:
    path = {"zero": Path("/dev/zero"), "random": Path("/dev/urandom")}.get(kind, tmp_path / "pipe")
    if kind == "pipe":
        os.mkfifo(path)
    with pytest.raises(InputError, match="a pipe or a device, not a plain file"):
        read(path)  # type: ignore[operator]


@pytest.mark.parametrize("read", [read_rig, read_alignment, read_targets])
def test_folder_or_nothing_is_said(tmp_path: Path, read: object) -> None:
    for path in (tmp_path, tmp_path / "none", tmp_path / "a\0b"):
        with pytest.raises(InputError, match="cannot be read"):
            read(path)  # type: ignore[operator]


@pytest.mark.parametrize("number", ["9" * 5000, "-" + "9" * 5000])
def test_number_of_thousands_of_digits_is_no_fault(tmp_path: Path, number: str) -> None:
    rig, kept = tmp_path / "rig.toml", tmp_path / "r.json"
    rig.write_text(f"[optics]\nfocal_length_mm = {number}\n", encoding="utf-8")
    kept.write_text(f'{{"schema": {number}}}', encoding="utf-8")
    with pytest.raises(InputError, match=r"rig.toml"):
        read_rig(rig)
    with pytest.raises(InputError, match=r"r.json: is no JSON"):
        read_alignment(kept)
