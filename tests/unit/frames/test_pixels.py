"""Pixels as physical values, whatever the file's form."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from polarcheck.errors import FrameError
from polarcheck.frames import read_pixels
from tests.fits_files import HEIGHT, TIME, WIDTH, header, write_compressed, write_image, write_solution


def test_unsigned_16_bit_counts_come_back_unchanged(tmp_path: Path) -> None:
    counts = np.arange(12, dtype=np.uint16).reshape(3, 4) * 5000
    fits.PrimaryHDU(counts).writeto(tmp_path / "a.fits")
    pixels = read_pixels(tmp_path / "a.fits")
    assert pixels.dtype == np.float32
    np.testing.assert_array_equal(pixels, counts)


@pytest.mark.parametrize("name", ["a.fits.fz", "a.fits.gz"])
def test_compressed_counts_come_back_unchanged(tmp_path: Path, name: str) -> None:
    counts = np.random.default_rng(1).integers(0, 30000, (40, 60)).astype(np.int16)
    hdu = fits.CompImageHDU(counts) if name.endswith("fz") else fits.PrimaryHDU(counts)
    hdus = fits.HDUList([fits.PrimaryHDU(), hdu] if name.endswith("fz") else [hdu])
    with (tmp_path / "plain").open("wb") as file:
        hdus.writeto(file)
    if name.endswith("gz"):
        hdus.writeto(tmp_path / name)
    else:
        (tmp_path / "plain").rename(tmp_path / name)
    np.testing.assert_array_equal(read_pixels(tmp_path / name), counts)


def test_planes_come_first_and_a_single_one_is_dropped(tmp_path: Path) -> None:
    assert read_pixels(write_image(tmp_path / "a.fits", shape=(3, 4, 5))).shape == (3, 4, 5)
    assert read_pixels(write_image(tmp_path / "b.fits", shape=(1, 4, 5))).shape == (4, 5)


def test_32_bit_integers_and_doubles_keep_their_digits(tmp_path: Path) -> None:
    fits.PrimaryHDU(np.full((2, 3), 2**31 - 1, np.int32)).writeto(tmp_path / "a.fits")
    assert read_pixels(tmp_path / "a.fits")[0, 0] == 2**31 - 1


def test_image_beside_a_header_only_solution_is_read(tmp_path: Path) -> None:
    write_image(tmp_path / "x.fits", TIME, shape=(4, 5))
    assert read_pixels(write_solution(tmp_path / "x.wcs")).shape == (4, 5)


def test_file_without_image_is_refused(tmp_path: Path) -> None:
    fits.PrimaryHDU(None, header(TIME)).writeto(tmp_path / "a.fits")
    with pytest.raises(FrameError, match="holds no image"):
        read_pixels(tmp_path / "a.fits")
    with pytest.raises(FrameError, match="no such file"):
        read_pixels(tmp_path / "none.fits")


@pytest.mark.parametrize(("side", "read"), [(14_000, True), (19_000, False)])
def test_image_that_takes_more_than_a_gigabyte_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, side: int, read: bool
) -> None:
    """Four bytes a pixel, and twice that on the way: a small machine has 2 to 4 GB (common practice, no source)."""
    path = write_compressed(tmp_path / "a.fits")
    raw = path.read_bytes()
    for axis, size in ((1, WIDTH), (2, HEIGHT)):
        raw = raw.replace(f"ZNAXIS{axis} = {size:20d}".encode(), f"ZNAXIS{axis} = {side:20d}".encode())
    path.write_bytes(raw)

    def damaged(*_: object, **__: object) -> None:
        raise OSError

    monkeypatch.setattr(fits, "open", damaged)
    with pytest.raises(FrameError, match="damaged" if read else "too large"):
        read_pixels(path)
