"""Whether a picture is whole and not too large: files made of a few bytes."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from polarcheck.frames.cards import NotWholeError, UnusableError
from polarcheck.frames.picture_checks import check_size, check_whole

PNG_END = b"IEND\xaeB`\x82"


def is_whole(path: Path, kind: str) -> bool:
    try:
        check_whole(SimpleNamespace(format=kind), path)
    except NotWholeError:
        return False
    return True


def test_largest_sensors_are_read_and_nothing_larger() -> None:
    """Medium-format sensors have 14,204 x 10,652 px, 151 million (from memory)."""
    check_size(14_204, 10_652)
    with pytest.raises(UnusableError, match="too large"):
        check_size(16_000, 12_000)


@pytest.mark.parametrize(("behind", "whole"), [(50_000, True), (100_000, False)])
def test_what_programs_add_behind_a_png_is_kilobytes(tmp_path: Path, behind: int, whole: bool) -> None:
    """The end counts within the last 64 kB: what looks like it further up may be pixels (common practice, no source)."""
    path = tmp_path / "a.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + PNG_END + bytes(behind))
    assert is_whole(path, "PNG") is whole


def test_end_of_a_jpeg_is_looked_for_from_where_its_pixels_begin(tmp_path: Path) -> None:
    """Start of scan is FF DA (ITU-T T.81, table B.1; from memory); behind its ten bytes come pixels, no segments."""
    path = tmp_path / "a.jpg"
    scan = b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00"
    path.write_bytes(b"\xff\xd8" + scan + b"\xff\x00\x7f\xff" + bytes(50) + b"\xff\xd9")
    assert is_whole(path, "JPEG")
    path.write_bytes(path.read_bytes()[:-2])
    assert not is_whole(path, "JPEG")
