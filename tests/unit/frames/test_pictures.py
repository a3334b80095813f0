"""Pictures: their pixels as stored, their EXIF, and every way in which they can be wrong."""

from __future__ import annotations

import io
import struct
import sys
import tracemalloc
import warnings
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from polarcheck.errors import FrameError
from polarcheck.frames import read_frame, read_image, read_pixels, read_solving_hints
from polarcheck.frames.cards import NotWholeError
from polarcheck.frames.pictures import picture_hdu
from tests.fits_files import HEIGHT, WIDTH, write_image, write_solution
from tests.picture_files import (
    ASCII,
    EXIF,
    LONG,
    PLACE,
    RATIONAL,
    SHORT,
    chunk,
    exif_block,
    tiff,
    write_colour_tiff,
    write_grey_tiff,
    write_png,
)

RNG = np.random.default_rng(1)
COUNTS = RNG.integers(0, 65536, (HEIGHT, WIDTH)).astype(np.uint16)
COLOURS = RNG.integers(0, 65536, (HEIGHT, WIDTH, 3)).astype(np.uint16)
LUMINANCE = COLOURS @ np.array([0.299, 0.587, 0.114])  # ITU-T T.871, section 7 (from memory)


def write_jpeg(
    path: Path, exif: bytes | None = None, size: tuple[int, int] = (WIDTH, HEIGHT), **more: Any
) -> Path:
    """A grey ramp, row by row, as a JPEG in colour."""
    ramp = np.add.outer(2 * np.arange(size[1]), np.arange(size[0])).clip(0, 255).astype(np.uint8)
    given = {"exif": b"Exif\0\0" + (exif_block() if exif is None else exif), "quality": 95, **more}
    Image.fromarray(ramp).convert(more.pop("mode", "RGB")).save(path, "JPEG", **given)
    return path


def reason(path: Path) -> str:
    """What is said of a file whose pixels are asked for, raw warnings made errors."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(FrameError) as caught:
            read_image(path)
    assert caught.value.reason.isprintable()
    assert len(caught.value.reason) < 250
    return caught.value.reason


def test_16_bits_are_kept(tmp_path: Path) -> None:
    for path in (write_grey_tiff(tmp_path / "a.tif", COUNTS), write_png(tmp_path / "a.png", COUNTS)):
        np.testing.assert_array_equal(read_pixels(path), COUNTS)
        assert read_image(path).saturation == 65535


@pytest.mark.parametrize("kind", ["tif", "png", "big-endian tif", "packed tif"])
def test_16_bits_of_colours_are_kept_as_luminance(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"a.{kind[-3:]}"
    if kind == "png":
        write_png(path, COLOURS)
    elif kind == "packed tif":
        path.write_bytes(packed_tiff(COLOURS))
    elif kind == "tif":
        write_colour_tiff(path, COLOURS)
    else:
        path.write_bytes(big_endian_tiff(COLOURS))
    np.testing.assert_allclose(read_pixels(path), LUMINANCE, atol=0.02)
    assert read_image(path).saturation == 65535


def big_endian_tiff(counts: np.ndarray[Any, Any]) -> bytes:
    """Three colours of 16 bits, every number with its larger byte first."""
    height, width = counts.shape[:2]
    entries = [
        (256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, 8), (259, 3, 1, 1 << 16), (262, 3, 1, 2 << 16),
        (273, 4, 1, 14), (277, 3, 1, 3 << 16), (278, 4, 1, height), (279, 4, 1, counts.size * 2),
    ]  # fmt: skip
    at = 14 + counts.size * 2
    head = b"MM\0*" + struct.pack(">I", at) + struct.pack(">HHH", 16, 16, 16)
    made = struct.pack(">H", len(entries)) + b"".join(struct.pack(">HHII", *entry) for entry in entries)
    return head + counts.astype(">u2").tobytes() + made + b"\0\0\0\0"


def packed_tiff(counts: np.ndarray[Any, Any]) -> bytes:
    """The same, packed by zlib (TIFF technical note 2, compression 8; from memory)."""
    import zlib

    height, width = counts.shape[:2]
    entries = {
        256: (LONG, [width]), 257: (LONG, [height]), 258: (SHORT, [16] * 3), 259: (SHORT, [8]), 262: (SHORT, [2]),
        277: (SHORT, [3]), 278: (LONG, [height]), 284: (SHORT, [1]),
    }  # fmt: skip
    return tiff(entries, pixels=zlib.compress(counts.astype("<u2").tobytes()))


def test_8_bits_of_colours_as_luminance(tmp_path: Path) -> None:
    eight = (COLOURS >> 8).astype(np.uint8)
    Image.fromarray(eight).save(tmp_path / "a.png")
    np.testing.assert_allclose(read_pixels(tmp_path / "a.png"), eight @ [0.299, 0.587, 0.114], atol=1e-3)
    assert read_image(tmp_path / "a.png").saturation == 255


def test_transparency_and_palette_do_not_matter(tmp_path: Path) -> None:
    grey = (COUNTS >> 8).astype(np.uint8)
    Image.fromarray(grey).convert("LA").save(tmp_path / "la.png")
    Image.fromarray(grey).convert("RGBA").save(tmp_path / "rgba.png")
    Image.fromarray(grey).convert("P").save(tmp_path / "p.png")
    for name in ("la.png", "rgba.png", "p.png"):
        np.testing.assert_allclose(read_pixels(tmp_path / name), grey, atol=1e-3)


def test_numbers_of_floating_point(tmp_path: Path) -> None:
    Image.fromarray(COUNTS.astype(np.float32) / 7).save(tmp_path / "a.tif")
    np.testing.assert_array_equal(read_pixels(tmp_path / "a.tif"), COUNTS.astype(np.float32) / 7)


def test_a_jpeg_gives_the_luminance_that_it_holds(tmp_path: Path) -> None:
    path = write_jpeg(tmp_path / "a.jpg")
    with Image.open(path) as image:
        image.draft("YCbCr", None)
        held = np.asarray(image)[..., 0]
    np.testing.assert_array_equal(read_pixels(path), held)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_turns_no_pixels(tmp_path: Path, orientation: int) -> None:
    """A solution belongs to the pixels as they are stored, and solvers see these."""
    path = write_jpeg(tmp_path / "x.jpg", exif_block(gps=PLACE, tag_274=(SHORT, [orientation])))
    write_solution(tmp_path / "x.wcs")
    pixels = read_pixels(path)
    assert pixels.shape == (HEIGHT, WIDTH)
    assert pixels[0, 0] < 20 < 60 < pixels[-1, 0]  # the ramp grows twice as fast along the columns
    frame = read_frame(path, zone="+01:00")
    assert (frame.width_px, frame.height_px) == (WIDTH, HEIGHT)
    assert not frame.notices or [n.code for n in frame.notices] == ["whole-seconds"]


def test_solved_picture_is_a_frame_like_any(tmp_path: Path) -> None:
    write_image(tmp_path / "fits.fits", EQUINOX=2000.0)
    like = read_frame(tmp_path / "fits.fits")
    write_solution(tmp_path / "x.wcs")
    frame = read_frame(write_jpeg(tmp_path / "x.jpg", exif_block(gps=PLACE)), zone="+01:00")
    np.testing.assert_allclose(frame.sky, like.sky, atol=1e-12)
    assert frame.exposure_s == 4
    assert frame.trusts_zone
    assert frame.solution_file == tmp_path / "x.wcs"
    assert frame.site is not None
    assert (frame.site.latitude_deg, frame.site.longitude_deg, frame.site.height_m) == (47.3, 11.2, 900)
    assert frame.site.source == "EXIF GPS"
    assert read_frame(tmp_path / "x.wcs", zone="+01:00").path == tmp_path / "x.jpg"


@pytest.mark.parametrize("kind", ["jpg", "png", "tif"])
def test_exif_is_read_from_every_kind(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"a.{kind}"
    if kind == "tif":
        write_grey_tiff(path, COUNTS, gps=PLACE)
    elif kind == "png":
        write_png(path, COUNTS, exif_block(gps=PLACE))
    else:
        write_jpeg(path, exif_block(gps=PLACE))
    header = picture_hdu(path).header
    assert b"2026-11-14T22:09:58" in header["DATE-BEG"]
    assert {"XPOSURE", "FOCALLEN", "GPS-LAT", "GPS-LON", "GPS-ALT"} <= set(header)


def test_unsolved_picture_says_what_is_missing(tmp_path: Path) -> None:
    with pytest.raises(FrameError, match=r"is not solved: no a\.wcs lies beside it"):
        read_frame(write_jpeg(tmp_path / "a.jpg"))


def test_wrong_ending_does_not_matter(tmp_path: Path) -> None:
    write_png(tmp_path / "a.jpg", COUNTS)
    np.testing.assert_array_equal(read_pixels(tmp_path / "a.jpg"), COUNTS)
    write_image(tmp_path / "b.fits").rename(tmp_path / "b.png")
    assert read_pixels(tmp_path / "b.png").shape == (HEIGHT, WIDTH)


@pytest.mark.parametrize("kind", ["jpg", "png", "tif"])
@pytest.mark.parametrize("part", [0.0, 0.001, 0.1, 0.5, 0.9, 0.999])
def test_broken_off_file_is_said_to_be(tmp_path: Path, kind: str, part: float) -> None:
    whole = tmp_path / f"whole.{kind}"
    {"jpg": write_jpeg, "png": lambda p: write_png(p, COUNTS), "tif": lambda p: write_grey_tiff(p, COUNTS)}[
        kind
    ](whole)
    data = whole.read_bytes()
    (tmp_path / f"a.{kind}").write_bytes(data[: int(len(data) * part)])
    said = reason(tmp_path / f"a.{kind}")
    assert "not whole" in said or "0 bytes" in said


def test_end_of_a_preview_is_not_the_end_of_a_jpeg(tmp_path: Path) -> None:
    """The preview in EXIF ends like a JPEG, and comes before the pixels."""
    preview = io.BytesIO()
    Image.new("L", (32, 32)).save(preview, "JPEG")
    data = write_jpeg(tmp_path / "a.jpg", exif_block(tag_37500=(7, preview.getvalue()))).read_bytes()
    assert data.count(b"\xff\xd9") == 2
    (tmp_path / "b.jpg").write_bytes(data[:-200])
    assert "not whole" in reason(tmp_path / "b.jpg")
    (tmp_path / "c.jpg").write_bytes(data + b"more of the maker's own" * 10_000)
    assert read_pixels(tmp_path / "c.jpg").shape == (HEIGHT, WIDTH)


def huge_png(path: Path, width: int, height: int) -> Path:
    head = struct.pack(">IIBBBBB", width, height, 16, 0, 0, 0, 0)
    parts = (chunk(b"IHDR", head), chunk(b"IDAT", b""), chunk(b"IEND", b""))
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(parts))
    return path


def huge_tiff(path: Path, width: int, height: int) -> Path:
    entries = {
        256: (LONG, [width]),
        257: (LONG, [height]),
        258: (SHORT, [16]),
        262: (SHORT, [1]),
        277: (SHORT, [1]),
    }
    path.write_bytes(tiff(entries, pixels=b"\0" * 64))
    return path


def huge_jpeg(path: Path) -> Path:
    """The frame header claims 65500 x 65500 pixels (ITU-T T.81, B.2.2; from memory)."""
    data = write_jpeg(path).read_bytes()
    at = data.index(b"\xff\xc0") + 5
    path.write_bytes(data[:at] + struct.pack(">HH", 65500, 65500) + data[at + 4 :])
    return path


def test_more_pixels_than_any_camera_has_are_refused_by_the_header(tmp_path: Path) -> None:
    for path in (
        huge_png(tmp_path / "a.png", 100_000, 100_000),
        huge_tiff(tmp_path / "a.tif", 100_000, 100_000),
        huge_jpeg(tmp_path / "a.jpg"),
    ):
        assert "too large" in reason(path)
        with pytest.raises(FrameError, match="too large"):
            read_frame(path)


def test_largest_cameras_are_read(tmp_path: Path) -> None:
    """150 million pixels: more than Pillow reads by itself without a word."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert picture_hdu(huge_png(tmp_path / "a.png", 14_204, 10_652)).shape == (14_204, 10_652)
    assert Image.MAX_IMAGE_PIXELS is not None, "the bound of others who use Pillow stays"


def test_animation_and_pages_are_refused(tmp_path: Path) -> None:
    pages = [Image.new("L", (60, 40), i) for i in range(3)]
    pages[0].save(tmp_path / "a.png", save_all=True, append_images=pages[1:])
    assert "animation" in reason(tmp_path / "a.png")
    pages[0].save(tmp_path / "a.tif", save_all=True, append_images=pages[1:])
    assert "several pictures" in reason(tmp_path / "a.tif")


def test_preview_on_a_second_page_does_not_matter(tmp_path: Path) -> None:
    Image.new("L", (60, 40), 7).save(
        tmp_path / "a.tif", save_all=True, append_images=[Image.new("L", (30, 20))]
    )
    assert (read_pixels(tmp_path / "a.tif") == 7).all()


@pytest.mark.parametrize("mode", ["CMYK", "1", "LAB"])
def test_kinds_of_pixels_that_no_camera_gives(tmp_path: Path, mode: str) -> None:
    image = Image.new(mode, (60, 40))
    path = tmp_path / ("a.jpg" if mode == "CMYK" else "a.tif")
    image.save(path)
    assert "kind of pixels" in reason(path)


def test_colours_kept_apart_in_16_bits_are_refused_rather_than_misread(tmp_path: Path) -> None:
    assert "colours together" in reason(write_colour_tiff(tmp_path / "a.tif", COLOURS, planar=2))


EVIL = "\x1b]0;x\x07\u202etxt.exe\U000e0041"

HOSTILE: dict[str, bytes] = {
    "nothing": b"",
    "noise": bytes(RNG.integers(0, 256, 3000, dtype=np.uint8)),
    "cut": exif_block(gps=PLACE)[:40],
    "control characters": exif_block(
        {**EXIF, 0x9003: (ASCII, EVIL.encode()), 0x9011: (ASCII, EVIL.encode())}
    ),
    "long text": exif_block({**EXIF, 0x9003: (ASCII, b"2026:11:14 22:09:58" * 3000)}),
    "division by zero": exif_block(
        {**EXIF, 0x829A: (RATIONAL, [(4, 0)])}, {**PLACE, 2: (RATIONAL, [(1, 0)] * 3)}
    ),
    "enormous count": exif_block().replace(
        struct.pack("<HHI", 0x9003, 2, 20), struct.pack("<HHI", 0x9003, 2, 2**32 - 1)
    ),
    "directory in itself": exif_block(tag_34665=(LONG, [8])).replace(b"\0\0\0\0", struct.pack("<I", 8), 1),
    "directory far off": tiff({0x8769: (LONG, [2**31]), 0x8825: (LONG, [2**32 - 1])}),
    "other types": exif_block(
        {0x9003: (LONG, [5] * 50), 0x829A: (ASCII, "four"), 0x920A: (ASCII, "")}, {2: (ASCII, "47")}
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_exif_costs_no_more_than_itself(
    tmp_path: Path, name: str, capfd: pytest.CaptureFixture[str]
) -> None:
    """The pixels and the solution can be used; of the time at most one line tells."""
    path = write_jpeg(tmp_path / "x.jpg", HOSTILE[name])
    write_solution(tmp_path / "x.wcs")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert read_pixels(path).shape == (HEIGHT, WIDTH)
        try:
            frame = read_frame(path, zone="+01:00")
        except FrameError as error:
            assert error.reason.isprintable()
            assert "EXIF" in error.reason
        else:
            assert all(notice.text.isprintable() for notice in frame.notices)
    assert capfd.readouterr() == ("", "")


def test_spoiled_bytes_end_in_a_line_or_in_pixels(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    sources = [
        write_jpeg(tmp_path / "s.jpg", exif_block(gps=PLACE)),
        write_png(tmp_path / "s.png", COLOURS, exif_block(gps=PLACE)),
        write_grey_tiff(tmp_path / "s.tif", COUNTS, gps=PLACE),
        write_colour_tiff(tmp_path / "c.tif", COLOURS),
    ]
    rng = np.random.default_rng(5)
    ends = {"pixels": 0, "line": 0}
    for source in sources:
        whole = np.frombuffer(source.read_bytes(), np.uint8)
        for trial in range(60):
            data = whole.copy()
            places = rng.integers(0, 400 if trial % 2 else len(data), 1 + trial % 5)
            data[places] = rng.integers(0, 256, len(places))
            path = tmp_path / f"spoiled{source.suffix}"
            path.write_bytes(data.tobytes())
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("error")
                    read_image(path)
                ends["pixels"] += 1
            except FrameError as error:
                assert error.reason.isprintable()
                ends["line"] += 1
    assert min(ends.values()) > 20, "both ways of ending are seen"
    assert capfd.readouterr() == ("", "")


def test_reading_fits_loads_no_library_for_pictures(tmp_path: Path) -> None:
    import subprocess

    path = write_image(tmp_path / "a.fits")
    code = (
        "import sys; from polarcheck.frames import read_frame; "
        f"read_frame({str(path)!r}); print(sorted({{'PIL', 'rawpy', 'zoneinfo'}} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_exposure_of_a_third_of_a_second(tmp_path: Path) -> None:
    path = write_jpeg(tmp_path / "x.jpg", exif_block({**EXIF, 0x829A: (RATIONAL, [Fraction(1, 3)])}))
    write_solution(tmp_path / "x.wcs")
    assert read_frame(path, zone="+01:00").exposure_s == pytest.approx(1 / 3, abs=1e-9)


def test_exif_tells_a_solver_the_likely_scale_and_no_more(tmp_path: Path) -> None:
    exif = {**EXIF, 0xA20E: (RATIONAL, [Fraction(25_400, 6)]), 0xA210: (SHORT, [2])}
    hints = read_solving_hints(write_jpeg(tmp_path / "x.jpg", exif_block(exif, PLACE)), zone="+01:00")
    assert hints.scale_arcsec is not None
    assert hints.scale_arcsec[0] < 206.265 * 6 / 250 < hints.scale_arcsec[1]
    assert hints.utc is not None
    assert hints.site is not None
    write_solution(tmp_path / "x.wcs")
    assert read_frame(tmp_path / "x.jpg", zone="+01:00").pixel_scale_arcsec == pytest.approx(3.0, abs=1e-6)


def test_pictures_are_read_by_several_threads_at_once(tmp_path: Path) -> None:
    path = write_colour_tiff(tmp_path / "a.tif", COLOURS)
    with ThreadPoolExecutor(4) as pool:
        for pixels in pool.map(read_pixels, [path] * 40):
            np.testing.assert_allclose(pixels, LUMINANCE, atol=0.02)
    assert Image.MAX_IMAGE_PIXELS is not None


def test_picture_of_8_bits_likely_has_a_tone_curve(tmp_path: Path) -> None:
    assert read_image(write_jpeg(tmp_path / "a.jpg")).has_tone_curve
    assert not read_image(write_png(tmp_path / "a.png", COUNTS)).has_tone_curve


def test_header_alone_tells_that_a_tiff_is_not_whole(tmp_path: Path) -> None:
    """Frames are measured without unpacking their pixels: where the strips end is in tags 273 and 279."""
    path = write_grey_tiff(tmp_path / "a.tif", COUNTS)
    assert picture_hdu(path).shape == (WIDTH, HEIGHT)
    path.write_bytes(path.read_bytes()[:-100])
    with pytest.raises(NotWholeError):
        picture_hdu(path)


def test_header_alone_tells_that_a_tiff_of_tiles_is_not_whole(tmp_path: Path) -> None:
    """Tiles of 16 by 16 px and multiples, tags 322 to 325 (TIFF 6.0, section 15; from memory)."""
    entries = {
        256: (LONG, [48]), 257: (LONG, [32]), 258: (SHORT, [16]), 259: (SHORT, [1]), 262: (SHORT, [1]),
        277: (SHORT, [1]), 322: (LONG, [48]), 323: (LONG, [32]),
    }  # fmt: skip
    whole = tiff(entries, pixels=RNG.bytes(48 * 32 * 2), stands=(324, 325))
    path = tmp_path / "a.tif"
    path.write_bytes(whole)
    assert picture_hdu(path).shape == (48, 32)
    assert read_pixels(path).shape == (32, 48)
    path.write_bytes(whole[:-100])
    with pytest.raises(NotWholeError):
        picture_hdu(path)


def test_colours_are_weighed_without_a_second_picture_in_memory(tmp_path: Path) -> None:
    """Beside the luminance, 4 bytes a pixel, some hundred rows in three colours: a twentieth of a picture so tall."""
    path = tmp_path / "a.png"
    Image.new("RGB", (64, 16_384)).save(path)
    tracemalloc.start()
    try:
        pixels = read_pixels(path)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak - pixels.nbytes < 0.25 * pixels.nbytes
