"""Files that are whole, compressed, cut short, or no FITS files at all."""

from __future__ import annotations

import errno
import gzip
import io
import os
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from polarcheck.errors import FrameError
from polarcheck.frames import read_frame
from polarcheck.frames.cards import UnusableError
from polarcheck.frames.headers import walk
from tests.fits_files import HEIGHT, SOLVED, TIME, WIDTH, header, write_compressed, write_image


def reason_of(path: Path) -> str:
    with pytest.raises(FrameError) as caught:
        read_frame(path)
    assert caught.value.path == path
    assert all(c >= " " for c in caught.value.reason)
    return caught.value.reason


def test_image_is_read_with_its_size_time_and_place(tmp_path: Path) -> None:
    frame = read_frame(write_image(tmp_path / "a.fits"))
    assert (frame.width_px, frame.height_px) == (WIDTH, HEIGHT)
    assert frame.exposure_s == 10
    assert frame.site is not None
    assert (frame.site.latitude_deg, frame.site.longitude_deg, frame.site.height_m) == (47.3, 11.2, 900)
    assert (frame.name, frame.folder, frame.solution_file, frame.notices) == ("a.fits", "", None, ())


def test_gzip_and_tile_compression_and_extensions_change_nothing(tmp_path: Path) -> None:
    plain = read_frame(write_image(tmp_path / "a.fits"))
    zipped = tmp_path / "b.fits.gz"
    zipped.write_bytes(gzip.compress((tmp_path / "a.fits").read_bytes()))
    disguised = tmp_path / "c.fits"  # gzip bytes under a plain name
    disguised.write_bytes(zipped.read_bytes())
    tiled = write_compressed(tmp_path / "d.fits.fz")
    extension = tmp_path / "e.fits"
    data = np.zeros((HEIGHT, WIDTH), np.int16)
    hdus = [fits.PrimaryHDU(), fits.ImageHDU(data), fits.ImageHDU(data, header(SOLVED))]
    fits.HDUList(hdus).writeto(extension)
    for path in (zipped, disguised, tiled, extension):
        frame = read_frame(path)
        assert (frame.width_px, frame.height_px, frame.utc, frame.site) == (
            WIDTH,
            HEIGHT,
            plain.utc,
            plain.site,
        )
        np.testing.assert_array_equal(frame.sky, plain.sky)


def test_time_and_place_in_the_primary_header_serve_an_image_in_an_extension(tmp_path: Path) -> None:
    solution = {k: v for k, v in SOLVED.items() if k not in TIME and not k.startswith("OBSGEO")}
    primary = fits.PrimaryHDU(None, header({k: v for k, v in SOLVED.items() if k not in solution}))
    image = fits.ImageHDU(np.zeros((HEIGHT, WIDTH), np.int16), header(solution))
    fits.HDUList([primary, image]).writeto(tmp_path / "a.fits")
    frame = read_frame(tmp_path / "a.fits")
    assert frame.site is not None
    assert frame.exposure_s == 10


@pytest.mark.parametrize(("shape", "is_read"), [((3, HEIGHT, WIDTH), True), ((1, 1, HEIGHT, WIDTH), True)])
def test_colour_planes_and_degenerate_axes_are_read(
    tmp_path: Path, shape: tuple[int, ...], is_read: bool
) -> None:
    frame = read_frame(write_image(tmp_path / "a.fits", shape=shape, CTYPE3="RGB"))
    assert (frame.width_px, frame.height_px) == (WIDTH, HEIGHT)


def test_cube_is_refused_with_its_shape(tmp_path: Path) -> None:
    path = write_image(tmp_path / "a.fits", shape=(5, HEIGHT, WIDTH))
    assert f"cube of {WIDTH} x {HEIGHT} x 5" in reason_of(path)


def test_celestial_axes_must_be_the_first_two(tmp_path: Path) -> None:
    path = write_image(
        tmp_path / "a.fits", shape=(HEIGHT, WIDTH, 3), CTYPE1="RGB", CTYPE2="RA---TAN", CTYPE3="DEC--TAN"
    )
    assert "not the first two" in reason_of(path)


def test_file_cut_in_its_data_says_how_much_is_there(tmp_path: Path) -> None:
    path = write_image(tmp_path / "a.fits")
    whole = 2880 + WIDTH * HEIGHT * 2
    path.write_bytes(path.read_bytes()[:5000])
    assert f"not whole yet: 5000 of {whole} bytes" in reason_of(path)


def test_missing_padding_after_the_data_is_no_fault(tmp_path: Path) -> None:
    path = write_image(tmp_path / "a.fits")
    path.write_bytes(path.read_bytes()[: 2880 + WIDTH * HEIGHT * 2])
    assert read_frame(path).width_px == WIDTH


@pytest.mark.parametrize("size", [80, 400, 1200])
def test_file_cut_in_its_header_is_not_whole(tmp_path: Path, size: int) -> None:
    path = write_image(tmp_path / "a.fits")
    path.write_bytes(path.read_bytes()[:size])
    assert "not whole yet: its header breaks off" in reason_of(path)


@pytest.mark.parametrize("keep", [0.3, 0.9, 0.999])
def test_gzip_stream_cut_short_is_not_whole(tmp_path: Path, keep: float) -> None:
    path = tmp_path / "a.fits.gz"
    rng = np.random.default_rng(3)
    fits.PrimaryHDU(rng.integers(0, 9999, (200, 300)).astype(np.int16), header(SOLVED)).writeto(path)
    stream = path.read_bytes()
    path.write_bytes(stream[: int(len(stream) * keep)])
    assert "not whole yet" in reason_of(path)


def test_gzip_of_a_cut_file_says_how_much_is_there(tmp_path: Path) -> None:
    cut = write_image(tmp_path / "a.fits").read_bytes()[:2880]
    path = tmp_path / "b.fits.gz"
    path.write_bytes(gzip.compress(cut))
    assert "not whole yet: 2880 of" in reason_of(path)


def test_gzip_in_several_members_is_whole(tmp_path: Path) -> None:
    data = write_image(tmp_path / "a.fits").read_bytes()
    path = tmp_path / "b.fits.gz"
    path.write_bytes(gzip.compress(data[:4000]) + gzip.compress(data[4000:]))
    assert read_frame(path).width_px == WIDTH


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "is empty"),
        (b"\0" * 5760, "zero bytes"),
        (b"just some notes\n" * 10, "not a FITS file.*'just some notes"),
        (b"\x1b[31mred" * 100, r"not a FITS file.*\\x1b"),
        (b"XTENSION= 'IMAGE   '" + b" " * 2860, "not a FITS file"),
        (b"\x1f\x8b garbage", "compressed bytes break off"),
    ],
)
def test_what_is_no_fits_file_is_named_as_such(tmp_path: Path, content: bytes, why: str) -> None:
    path = tmp_path / "a.fits"
    path.write_bytes(content)
    with pytest.raises(FrameError, match=why) as caught:
        read_frame(path)
    assert "\x1b" not in str(caught.value)


def test_missing_file_and_folder_are_told_apart(tmp_path: Path) -> None:
    assert "no such file" in reason_of(tmp_path / "none.fits")
    (tmp_path / "x.fits").mkdir()
    assert "folder" in reason_of(tmp_path / "x.fits")


def test_unreadable_file_says_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_image(tmp_path / "a.fits")

    def denied(*_: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", denied)
    assert "permission denied" in reason_of(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_pipe_does_not_block(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.fits")
    assert "not a file" in reason_of(tmp_path / "a.fits")


def test_unsolved_frame_is_told_to_be_solved(tmp_path: Path) -> None:
    assert "plate-solve it first" in reason_of(write_image(tmp_path / "a.fits", TIME))
    linear = write_image(tmp_path / "b.fits", CTYPE1="LINEAR", CTYPE2="LINEAR")
    assert "plate-solve it first" in reason_of(linear)


@pytest.mark.parametrize(
    ("keyword", "value"),
    [
        ("NAXIS", "999999999"),
        ("NAXIS", "-1"),
        ("NAXIS1", "99999999999999999999"),
        ("NAXIS1", "x"),
        ("BITPIX", "17"),
    ]
    + [("PCOUNT", "9" * 18), ("GCOUNT", "-5"), ("NAXIS2", "1E9")],
)
def test_damaged_size_is_a_clear_error_and_costs_nothing(tmp_path: Path, keyword: str, value: str) -> None:
    path = write_image(tmp_path / "a.fits", SOLVED)
    raw = path.read_bytes()
    at = max(raw.find(f"{keyword:8s}=".encode()), 0) or raw.index(b"OBSGEO-H=")
    path.write_bytes(raw[:at] + f"{keyword:8s}= {value:>20s}".ljust(80).encode() + raw[at + 80 :])
    assert "damaged" in reason_of(path) or "not whole" in reason_of(path)


@pytest.mark.parametrize("shape", [(1, 1), (1, 50), (50, 1)])
def test_image_without_area_is_refused(tmp_path: Path, shape: tuple[int, int]) -> None:
    assert "impossible size" in reason_of(write_image(tmp_path / "a.fits", shape=shape))


def test_walk_ends_after_so_many_headers_and_cards(tmp_path: Path) -> None:
    """A hundred headers and twenty thousand cards: ten times what any camera, stack or survey writes (no source)."""
    many = tmp_path / "many.fits"
    fits.HDUList([fits.PrimaryHDU(), *(fits.ImageHDU() for _ in range(119))]).writeto(many)
    assert 60 < len(list(walk(many))) < 110
    long = tmp_path / "long.fits"
    long.write_bytes(
        b"".join(str(card).encode() for card in fits.PrimaryHDU().header.cards)
        + b"COMMENT x".ljust(80) * 15_000
        + b"END".ljust(80)
    )
    long.write_bytes(long.read_bytes().ljust(-(-long.stat().st_size // 2880) * 2880))
    assert len(list(walk(long))) == 1
    endless = tmp_path / "endless.fits"
    endless.write_bytes(b"SIMPLE  =                    T".ljust(80) + b"COMMENT x".ljust(80) * 30_000)
    with pytest.raises(UnusableError, match="no END"):
        list(walk(endless))


@pytest.mark.parametrize(("megabytes", "read"), [(1400, True), (2800, False)])
def test_file_that_unpacks_to_more_than_any_frame_is_not_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, megabytes: int, read: bool
) -> None:
    """150 million pixels in three colours of 32 bits are 1.8 GB; what unpacks to more is no frame."""
    piece = bytes(1 << 20)

    class Unpacking(io.BytesIO):
        left = megabytes

        def read(self, size: int | None = -1) -> bytes:
            self.left -= 1
            return piece if self.left >= 0 else b""

    monkeypatch.setattr(gzip, "GzipFile", lambda fileobj: Unpacking())
    packed = tmp_path / "a.fits.gz"
    packed.write_bytes(b"\x1f\x8b" + bytes(100))
    assert ("unpacks to more" in reason_of(packed)) is not read


def test_end_in_a_comment_does_not_end_the_header(tmp_path: Path) -> None:
    cards = {"COMMENT": "x" * 60 + "END     ", "OBJECT": "the END     of it", **SOLVED}
    assert read_frame(write_image(tmp_path / "a.fits", cards)).width_px == WIDTH


def test_bytes_after_the_last_image_are_ignored(tmp_path: Path) -> None:
    path = write_image(tmp_path / "a.fits")
    path.write_bytes(path.read_bytes() + b"trailing rubbish")
    assert len(list(walk(path))) == 1
    assert read_frame(path).width_px == WIDTH


@pytest.mark.parametrize("comment", [b"in degr\xe9s, pl\xc3in", b"in \x1b[1mdegrees"])
def test_accents_and_colours_in_a_comment_do_not_cost_the_frame(tmp_path: Path, comment: bytes) -> None:
    path = write_image(tmp_path / "a.fits", {**SOLVED, "CRVAL1": (100.0, "in degrees, plain")})
    path.write_bytes(path.read_bytes().replace(b"in degrees, plain", comment.ljust(17)))
    assert read_frame(path).width_px == WIDTH
