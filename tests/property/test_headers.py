"""Damaged headers: whatever the bytes, reading gives a frame or one clear reason, and soon."""

from __future__ import annotations

import gzip
import tempfile
import time
import tracemalloc
import unicodedata
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from polarcheck.errors import FrameError
from polarcheck.frames import Frame, read_frame, read_frames
from tests.fits_files import SIP, SOLVED, write_compressed, write_image

CARD = 80
UNSAFE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
MOST_BYTES = 64 * 2**20
MOST_SECONDS = 5.0


def is_safe(text: str) -> bool:
    """Whether a text holds no control, format, surrogate, private or unassigned character, nor a line break."""
    return UNSAFE.isdisjoint(map(unicodedata.category, text))


def valid_files() -> dict[str, bytes]:
    """Sound files of a CD, a SIP, a PC with PV, and a tile-compressed solution."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        pc = {k: v for k, v in SOLVED.items() if not k.startswith("CD")}
        pc |= {"PC1_1": 1.0, "PC1_2": 0.1, "PC2_1": -0.1, "PC2_2": 1.0, "CDELT1": -8e-4, "CDELT2": 8e-4}
        pc |= {"CTYPE1": "RA---TPV", "CTYPE2": "DEC--TPV", "PV1_1": 1.0, "PV2_1": 1.0, "EQUINOX": 2000.0}
        return {
            "cd": write_image(folder / "a.fits").read_bytes(),
            "sip": write_image(folder / "b.fits", {**SOLVED, **SIP}).read_bytes(),
            "pc": write_image(folder / "c.fits", pc).read_bytes(),
            "compressed": write_compressed(folder / "d.fits", {**SOLVED, **SIP}).read_bytes(),
        }


FILES = valid_files()

positions = st.floats(0, 1, exclude_max=True)
mutations = st.one_of(
    st.tuples(st.just("byte"), positions, st.binary(min_size=1, max_size=1)),
    st.tuples(st.just("bytes"), positions, st.binary(min_size=2, max_size=40)),
    st.tuples(
        st.just("digit"), positions, st.sampled_from([b"0", b"9", b"-", b"E", b".", b" ", b"'", b"/", b"="])
    ),
    st.tuples(
        st.just("value"),
        positions,
        st.sampled_from(
            [
                b"-1",
                b"0",
                b"99999999",
                b"9" * 25,
                b"1E400",
                b"NaN",
                b"-Infinity",
                b"1.5",
                b"'\x1b[31m'",
                b"T",
                b"''",
            ]
            + [b"'RA---TAB'", b"'DEC--XXX'", b"'", b"(1,2)", b"\xff\xfe", b"1E-320", b"'LOCAL'", b"'FK4'"]
        ),
    ),
    st.tuples(st.just("swap"), positions, st.binary(min_size=1, max_size=1)),
    st.tuples(
        st.just("keyword"),
        positions,
        st.sampled_from(
            [
                b"WCSAXES =",
                b"NAXIS   =",
                b"A_ORDER =",
                b"BP_ORDER=",
                b"CONTINUE ",
                b"HIERARCH ",
                b"PV1_999 =",
                b"END      ",
            ]
            + [
                b"CPDIS1  =",
                b"PCOUNT  =",
                b"TIMESYS =",
                b"DATE-AVG=",
                b"LONPOLE =",
                b"EQUINOX =",
                b"SITELAT =",
                b"ZIMAGE  =",
            ]
        ),
    ),
    st.tuples(st.just("cut"), positions, st.just(b"")),
)


def mutated(raw: bytes, mutation: tuple[str, float, bytes]) -> bytes:
    kind, position, new = mutation
    header_bytes = 2 * 2880 if len(raw) > 12000 or raw[2880:2888] == b"XTENSION" else 2880
    at = int(position * header_bytes)
    card = at // CARD * CARD
    if kind == "cut":
        return raw[:at]
    if kind == "value":
        return raw[: card + 10] + new.rjust(20) + b" " * 50 + raw[card + CARD :]
    if kind == "keyword":
        return raw[:card] + new + raw[card + len(new) :]
    if kind == "swap":
        other = (card + new[0] * CARD) % header_bytes
        first, second = sorted((card, other))
        cards = raw[first : first + CARD], raw[second : second + CARD]
        return (
            raw[:first] + cards[1] + raw[first + CARD : second] + cards[0] + raw[second + CARD :]
            if first != second
            else raw
        )
    return raw[:at] + new + raw[at + len(new) :]


@pytest.mark.parametrize("name", FILES)
def test_unchanged_files_are_read(name: str, tmp_path: Path) -> None:
    (tmp_path / "a.fits").write_bytes(FILES[name])
    assert isinstance(read_frame(tmp_path / "a.fits"), Frame)


@settings(max_examples=4000)
@given(st.sampled_from(sorted(FILES)), st.lists(mutations, min_size=1, max_size=6))
def test_mutated_header_gives_a_frame_or_a_printable_reason(
    name: str, changes: list[tuple[str, float, bytes]]
) -> None:
    raw = FILES[name]
    for change in changes:
        raw = mutated(raw, change)
    path = SCRATCH / "a.fits"
    path.write_bytes(raw)
    started = time.perf_counter()
    try:
        frame = read_frame(path)
    except FrameError as error:
        assert error.path == path
        assert is_safe(error.reason), repr(error.reason)
    else:
        assert frame.sky.shape == (16, 3)
        np.testing.assert_allclose(np.linalg.norm(frame.sky, axis=1), 1, atol=1e-12)
        assert all(is_safe(notice.text) for notice in frame.notices)
        assert frame.site is None or is_safe(frame.site.source)
        assert 0.001 <= frame.pixel_scale_arcsec <= 1800
    assert time.perf_counter() - started < MOST_SECONDS


@settings(max_examples=300)
@given(st.binary(max_size=6000))
def test_arbitrary_bytes_give_a_reason(raw: bytes) -> None:
    path = SCRATCH / "b.fits"
    for content in (raw, b"SIMPLE  =" + raw, gzip.compress(b"SIMPLE  =" + raw), b"\x1f\x8b" + raw):
        path.write_bytes(content)
        with pytest.raises(FrameError) as caught:
            read_frame(path)
        assert is_safe(caught.value.reason)


def hostile(keyword: bytes, value: bytes) -> Callable[[bytes], bytes]:
    def change(raw: bytes) -> bytes:
        at = raw.find(keyword.ljust(8) + b"=")
        at = at if at > 0 else raw.index(b"OBSGEO-H=")
        return raw[:at] + (keyword.ljust(8) + b"= " + value.rjust(20)).ljust(CARD) + raw[at + CARD :]

    return change


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize(
    ("keyword", "value"),
    [
        (b"NAXIS", b"999"),
        (b"NAXIS1", b"1000000000"),
        (b"WCSAXES", b"1000000"),
        (b"PCOUNT", b"1000000000000"),
        (b"A_ORDER", b"30000"),
        (b"AP_ORDER", b"9999999"),
        (b"PV1_999", b"1.0"),
        (b"PC1_1", b"1E300"),
        (b"CTYPE1", b"'RA---TAB'"),
        (b"ZNAXIS", b"100000"),
        (b"GCOUNT", b"99999999999"),
    ],
)
def test_hostile_sizes_cost_neither_memory_nor_time(
    name: str, keyword: bytes, value: bytes, tmp_path: Path
) -> None:
    path = tmp_path / "a.fits"
    path.write_bytes(hostile(keyword, value)(FILES[name]))
    read_frames([path])  # imports
    tracemalloc.start()
    started = time.perf_counter()
    frames = read_frames([path])
    seconds, (_, peak) = time.perf_counter() - started, tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(frames.frames) + len(frames.problems) == 1
    assert peak < MOST_BYTES
    assert seconds < MOST_SECONDS


_PLACE = tempfile.TemporaryDirectory()
SCRATCH = Path(_PLACE.name)
