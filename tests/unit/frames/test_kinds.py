"""What a file is: by its first bytes, then by its name."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from polarcheck.frames.kinds import Kind, kind_of


@pytest.mark.parametrize(
    ("name", "begin", "kind"),
    [
        ("a.fits", b"SIMPLE  =", Kind.FITS),
        ("a.jpg", b"SIMPLE  =", Kind.FITS),
        ("a.nef", b"SIMPLE  =", Kind.FITS),
        ("a.fits.gz", b"\x1f\x8b\x08\0", Kind.FITS),
        ("a.fits", b"\xff\xd8\xff\xe1abcd", Kind.PICTURE),
        ("a", b"\x89PNG\r\n\x1a\n", Kind.PICTURE),
        ("a.JPG", b"notes on", Kind.PICTURE),
        ("a.tif", b"II*\0\x08\0\0\0", Kind.PICTURE),
        ("a.dng", b"II*\0\x08\0\0\0", Kind.RAW),
        ("a.CR3", b"\0\0\0\x18ftyp", Kind.RAW),
        ("a.fits", b"notes on", Kind.FITS),
        ("a.jpg", b"", Kind.FITS),
    ],
)
def test_first_bytes_go_before_the_name_but_for_raw_files(
    tmp_path: Path, name: str, begin: bytes, kind: Kind
) -> None:
    (tmp_path / name).write_bytes(begin)
    assert kind_of(tmp_path / name) is kind


def test_what_cannot_be_opened_keeps_nobody_waiting(tmp_path: Path) -> None:
    assert kind_of(tmp_path / "none.jpg") is Kind.FITS
    assert kind_of(tmp_path) is Kind.FITS
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.jpg")
        assert kind_of(tmp_path / "pipe.jpg") is Kind.FITS
