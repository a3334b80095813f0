"""Which index files there are, and which a field needs."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.solving.index_files import find_index_files, missing_sizes, useful
from tests.solvers import write_index


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for number, (least, most) in enumerate([(22, 30), (30, 42), (42, 60), (60, 85)], 7):
        write_index(tmp_path / f"index-{number:02d}.fits", least, most)
    (tmp_path / "index-bad.fits").write_bytes(b"SIMPLE  =  nothing of the kind")
    (tmp_path / "index-link.fits").symlink_to(tmp_path / "nowhere")
    (tmp_path / "other.fits").touch()
    return tmp_path


def test_sizes_come_from_the_headers_and_what_is_no_index_is_passed_over(folder: Path) -> None:
    found = find_index_files([folder, folder / "missing"])
    assert [index.path.name for index in found] == [f"index-{number:02d}.fits" for number in (7, 8, 9, 10)]
    assert found[0].sizes_arcmin == pytest.approx((22, 30), rel=1e-6)


def test_field_takes_what_fits_into_it(folder: Path) -> None:
    # 1200 x 900 px of 2 arcsec: 40 x 30 arcmin, 50 along the diagonal
    some = useful(find_index_files([folder]), (2.0, 2.0), (1200, 900))
    assert [index.path.name for index in some] == ["index-07.fits", "index-08.fits", "index-09.fits"]


@pytest.mark.parametrize(
    ("scale", "is_missing"), [(0.5, True), (2.0, True), (6.0, False), (60.0, True)], ids=str
)
def test_what_a_field_needs_is_named(folder: Path, scale: float, is_missing: bool) -> None:
    # 1200 x 900 px: the shorter side is 7.5, 30, 90 arcmin and 15 deg; patterns of 15 to 85 % of it are wanted
    missing = missing_sizes(find_index_files([folder]), (scale, scale), (1200, 900))
    assert (missing is not None) == is_missing
    if missing is not None:
        assert missing == pytest.approx((0.15 * scale * 15, 0.85 * scale * 15))


def test_of_a_folder_full_of_files_two_thousand_are_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full set for all scales has some hundreds (common practice, no source); more is another kind of folder."""
    for number in (1500, 2500):
        write_index(tmp_path / f"index-{number}.fits", 22, 30)
    monkeypatch.setattr("os.listdir", lambda _: [f"index-{number:04d}.fits" for number in range(3000)])
    assert [index.path.name for index in find_index_files([tmp_path])] == ["index-1500.fits"]


@pytest.mark.parametrize(("block", "found"), [(8, True), (12, False)])
def test_sizes_stand_in_the_first_ten_blocks_of_a_header(tmp_path: Path, block: int, found: bool) -> None:
    """A block is 2880 bytes, 36 cards (FITS Standard 4.0, section 3.1); ten hold more history than any index tells."""
    path = write_index(tmp_path / "index-1.fits", 22, 30)
    head = path.read_bytes()
    comments = "COMMENT a long history".ljust(80).encode() * 36 * (block - 1)
    at = head.index(b"SCALE_U")
    path.write_bytes(head[:at] + comments + head[at:])
    assert bool(find_index_files([tmp_path])) is found
