"""Raw files: DNG written here byte by byte, read by LibRaw."""

from __future__ import annotations

import os
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polarcheck.errors import FrameError
from polarcheck.frames import read_frame, read_image, read_pixels
from polarcheck.frames.raw_files import raw_hdu
from tests.fits_files import write_solution
from tests.picture_files import ASCII, EXIF, PLACE, write_dng

pytest.importorskip("rawpy")

HEIGHT, WIDTH = 64, 96
COUNTS = np.random.default_rng(2).integers(500, 60_000, (HEIGHT, WIDTH)).astype(np.uint16)


def test_mosaic_is_read_as_it_is(tmp_path: Path) -> None:
    image = read_image(write_dng(tmp_path / "a.dng", COUNTS))
    np.testing.assert_array_equal(image.pixels, COUNTS)
    assert image.mosaic == "RGGB"
    assert image.saturation == 60_000


@pytest.mark.parametrize(
    ("pattern", "name"),
    [(b"\0\1\1\2", "RGGB"), (b"\2\1\1\0", "BGGR"), (b"\1\0\2\1", "GRBG"), (b"\1\2\0\1", "GBRG")],
)
def test_pattern_of_the_colours_is_known(tmp_path: Path, pattern: bytes, name: str) -> None:
    assert read_image(write_dng(tmp_path / "a.dng", COUNTS, pattern=pattern)).mosaic == name


def test_masked_margins_are_left_out_and_the_pattern_goes_along(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", COUNTS, margins=(4, 6))
    image = read_image(path)
    np.testing.assert_array_equal(image.pixels, COUNTS[4:, 6:])
    assert image.mosaic == "RGGB"
    assert raw_hdu(path).shape == (WIDTH - 6, HEIGHT - 4)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_orientation_turns_no_pixels(tmp_path: Path, orientation: int) -> None:
    path = write_dng(tmp_path / "a.dng", COUNTS, orientation=orientation)
    np.testing.assert_array_equal(read_pixels(path), COUNTS)
    assert raw_hdu(path).shape == (WIDTH, HEIGHT)


def test_solved_raw_file_is_a_frame(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "höhe.dng", COUNTS, gps=PLACE)
    write_solution(tmp_path / "höhe.wcs", size=(WIDTH, HEIGHT))
    frame = read_frame(path, zone="+01:00")
    assert (frame.width_px, frame.height_px, frame.exposure_s) == (WIDTH, HEIGHT, 4.0)
    assert frame.site is not None
    assert frame.site.source == "EXIF GPS"
    assert "wcs" in str(frame.solution_file)


def test_time_has_its_fraction_and_zone_where_exif_has(tmp_path: Path) -> None:
    exif = {**EXIF, 0x9291: (ASCII, "25"), 0x9011: (ASCII, "+01:00")}
    assert (
        b"2026-11-14T22:09:58.25+01:00"
        in raw_hdu(write_dng(tmp_path / "a.dng", COUNTS, exif=exif)).header["DATE-BEG"]
    )


def test_time_that_only_libraw_finds_is_the_camera_clock_s(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As in raw files that are no TIFF inside; LibRaw keeps it by this computer's zone, which must not show."""
    import time

    path = write_dng(tmp_path / "a.dng", COUNTS)
    monkeypatch.setattr("polarcheck.frames.raw_files._tags", lambda path: {})
    for zone in ("UTC", "Asia/Tokyo", "America/New_York"):
        monkeypatch.setenv("TZ", zone)
        if hasattr(time, "tzset"):
            time.tzset()
        header = raw_hdu(path).header
        if "DATE-BEG" not in header:
            pytest.skip("this rawpy is too old to tell")
        assert b"2026-11-14T22:09:58'" in header["DATE-BEG"]
        assert b"LOCAL" in header["TIMESYS"]
    monkeypatch.undo()
    if hasattr(time, "tzset"):
        time.tzset()


@pytest.mark.parametrize("part", [0.0, 0.001, 0.02, 0.1, 0.5, 0.9, 0.999])
def test_broken_off_file_is_said_to_be(
    tmp_path: Path, part: float, capfd: pytest.CaptureFixture[str]
) -> None:
    data = write_dng(tmp_path / "whole.dng", COUNTS).read_bytes()
    (tmp_path / "a.dng").write_bytes(data[: int(len(data) * part)])
    with pytest.raises(FrameError, match=r"not whole|0 bytes") as caught:
        read_image(tmp_path / "a.dng")
    assert caught.value.reason.isprintable()
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("name", ["a.dng", "a.cr2", "a.nef", "a.raf", "a.x3f"])
@pytest.mark.parametrize(
    "content", [b"notes on the night", b"\xff\xd8\xff\xe0" + b"\0" * 5000, b"II*\0" + b"\xff" * 5000]
)
def test_other_content_is_no_raw_file(
    tmp_path: Path, name: str, content: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(FrameError, match="raw file"):
        read_image(tmp_path / name)
    assert capfd.readouterr() == ("", "")


def test_enormous_sensor_is_refused_by_its_header(tmp_path: Path) -> None:
    data = write_dng(tmp_path / "a.dng", COUNTS).read_bytes()
    for tag, size in ((256, WIDTH), (257, HEIGHT)):
        card = tag.to_bytes(2, "little") + b"\4\0\1\0\0\0"
        data = data.replace(card + size.to_bytes(4, "little"), card + (60_000).to_bytes(4, "little"))
    data = data.replace(
        HEIGHT.to_bytes(4, "little") + WIDTH.to_bytes(4, "little"), (60_000).to_bytes(4, "little") * 2
    )
    (tmp_path / "a.dng").write_bytes(data)
    with pytest.raises(FrameError, match="too large"):
        read_image(tmp_path / "a.dng")


def test_spoiled_bytes_end_in_a_line_or_in_pixels(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    whole = np.frombuffer(write_dng(tmp_path / "s.dng", COUNTS, gps=PLACE).read_bytes(), np.uint8)
    rng = np.random.default_rng(6)
    ends = {"pixels": 0, "line": 0}
    for trial in range(150):
        data = whole.copy()
        places = rng.integers(0, 700, 1 + trial % 4)
        data[places] = rng.integers(0, 256, len(places))
        (tmp_path / "a.dng").write_bytes(data.tobytes())
        try:
            read_image(tmp_path / "a.dng")
            ends["pixels"] += 1
        except FrameError as error:
            assert error.reason.isprintable()
            ends["line"] += 1
    assert min(ends.values()) > 10, "both ways of ending are seen"
    assert capfd.readouterr() == ("", "")


def test_without_the_library_the_file_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_dng(tmp_path / "a.dng", COUNTS)
    modules: Any = sys.modules
    monkeypatch.setitem(modules, "rawpy", None)
    with pytest.raises(FrameError, match=r"polarcheck\[raw\]"):
        read_image(path)


def test_error_stream_is_there_again_after_several_threads(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    path = write_dng(tmp_path / "a.dng", COUNTS)
    with ThreadPoolExecutor(4) as pool:
        for pixels in pool.map(read_pixels, [path] * 40):
            np.testing.assert_array_equal(pixels, COUNTS)
    os.write(2, b"still heard")
    assert capfd.readouterr().err == "still heard"
