"""Many files: which belong together, which count, in which order."""

from __future__ import annotations

import gzip
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polarcheck.errors import FrameError, InputError
from polarcheck.frames import FrameSet, Problem, read_frame, read_frames, read_solution
from polarcheck.times import iso_from_utc
from tests.fits_files import HEIGHT, SITE, SOLVED, TAN, TIME, WIDTH, write_image, write_solution

ROUGH = {**SOLVED, "CRVAL1": 100.5}
UNSOLVED = {**TIME, **SITE}


def problem(frames: FrameSet, name: str) -> Problem:
    return next(problem for problem in frames.problems if problem.name == name)


def test_frames_come_in_order_of_time_then_name(tmp_path: Path) -> None:
    for name, minute in (("c", 1), ("b10", 5), ("b9", 5), ("a", 9)):
        write_image(
            tmp_path / f"{name}.fits", DATE__OBS=f"2026-11-14T20:0{minute}:00", CRVAL1=100.0 + len(name)
        )
    write_image(tmp_path / "b9.fits", DATE__OBS="2026-11-14T20:05:00", CRVAL1=99.0)
    frames = read_frames([tmp_path])
    assert [frame.name for frame in frames.frames] == ["c.fits", "b9.fits", "b10.fits", "a.fits"]
    assert frames.problems == ()


def test_bad_files_become_problems_in_order_of_time_and_raise_nothing(tmp_path: Path) -> None:
    write_image(tmp_path / "good.fits")
    write_image(tmp_path / "later.fits", {**UNSOLVED, "DATE-OBS": "2026-11-14T22:00:00"})
    write_image(tmp_path / "early.fits", {**UNSOLVED, "DATE-OBS": "2026-11-14T19:00:00"})
    (tmp_path / "a.fits").write_bytes(b"")
    frames = read_frames([tmp_path])
    assert [frame.name for frame in frames.frames] == ["good.fits"]
    assert [p.name for p in frames.problems] == ["early.fits", "later.fits", "a.fits"]
    early = problem(frames, "early.fits")
    assert early.utc is not None
    assert iso_from_utc(early.utc) == "2026-11-14T19:00:05.00Z"
    assert problem(frames, "a.fits").utc is None
    assert not any(p.is_sidecar for p in frames.problems)


def test_header_only_solution_takes_time_place_and_size_from_its_image(tmp_path: Path) -> None:
    write_image(tmp_path / "x.fits", UNSOLVED)
    write_solution(tmp_path / "x.wcs")
    frames = read_frames([tmp_path])
    (frame,) = frames.frames
    assert (frame.path.name, frame.name) == ("x.fits", "x.fits")
    assert frame.solution_file == tmp_path / "x.wcs"
    assert frame.site is not None
    assert (frame.width_px, frame.height_px) == (WIDTH, HEIGHT)
    sidecar = problem(frames, "x.wcs")
    assert sidecar.is_sidecar
    assert sidecar.reason == "holds the solution of x.fits, which is used"


@pytest.mark.parametrize("offered", ["x.fits", "x.wcs"])
def test_either_of_the_pair_finds_the_other_on_the_disk(tmp_path: Path, offered: str) -> None:
    write_image(tmp_path / "x.fits", ROUGH)
    write_solution(tmp_path / "x.wcs")
    frame = read_frame(tmp_path / offered)
    solved = read_frame(write_image(tmp_path / "y.fits"))
    assert frame.name == "x.fits"
    assert frame.path == tmp_path / "x.fits"
    # the solver's RA 100.0 and not the rough 100.5; EQUINOX 2000 makes it FK5, 0.02 arcsec from ICRS
    np.testing.assert_allclose(frame.sky, solved.sky, atol=2e-7)
    assert read_solution(tmp_path / offered).system.name == "FK5 J2000"
    (only,) = read_frames([tmp_path / offered]).frames
    assert only.name == "x.fits"


@pytest.mark.parametrize("image", ["x.FIT", "x.fts", "x.fits.gz", "x.fit.fz"])
@pytest.mark.parametrize("spelled", ["x.wcs", "{bare}.wcs"])
def test_pair_is_known_whatever_the_ending(tmp_path: Path, image: str, spelled: str) -> None:
    raw = write_image(tmp_path / "raw.fits", UNSOLVED).read_bytes()
    (tmp_path / "raw.fits").unlink()
    (tmp_path / image).write_bytes(gzip.compress(raw) if image.endswith("gz") else raw)
    bare = image.removesuffix(".gz").removesuffix(".fz")
    write_solution(tmp_path / spelled.format(bare=bare))
    frames = read_frames([tmp_path])
    assert [frame.name for frame in frames.frames] == [image]
    assert [p.is_sidecar for p in frames.problems] == [True]


def test_header_only_solution_without_image_asks_for_it(tmp_path: Path) -> None:
    with pytest.raises(FrameError, match="put the image that it solves beside it"):
        read_frame(write_solution(tmp_path / "x.wcs"))


def test_header_only_solution_with_time_stands_alone(tmp_path: Path) -> None:
    frame = read_frame(write_solution(tmp_path / "x.wcs", {**SOLVED}))
    assert (frame.width_px, frame.solution_file) == (WIDTH, None)
    with pytest.raises(FrameError, match="size of the image"):
        read_frame(write_solution(tmp_path / "y.wcs", {**SOLVED}, size=None))


def test_solution_of_another_size_is_doubted(tmp_path: Path) -> None:
    write_image(tmp_path / "x.fits", UNSOLVED)
    write_solution(tmp_path / "x.wcs", size=(WIDTH * 2, HEIGHT * 2))
    frame = read_frame(tmp_path / "x.fits")
    assert frame.width_px == WIDTH
    assert [notice.code for notice in frame.notices] == ["size-mismatch"]


def test_broken_solution_file_is_not_passed_over_in_silence(tmp_path: Path) -> None:
    write_image(tmp_path / "x.fits", ROUGH)
    (tmp_path / "x.wcs").write_bytes(b"")
    with pytest.raises(FrameError, match=r"its solution x\.wcs cannot be used: it is empty"):
        read_frame(tmp_path / "x.fits")
    frames = read_frames([tmp_path])
    assert frames.frames == ()
    assert problem(frames, "x.wcs").reason == "belongs to x.fits, which cannot be used (see there)"


def test_solved_copy_wins_over_the_image_and_the_header_only_solution(tmp_path: Path) -> None:
    write_image(tmp_path / "x.fits", ROUGH)
    write_image(tmp_path / "x.new")
    write_solution(tmp_path / "x.wcs", {**TAN, "CRVAL1": 101.0})
    frames = read_frames([tmp_path])
    (frame,) = frames.frames
    assert (frame.name, frame.solution_file) == ("x.new", None)
    assert {p.name: p.reason for p in frames.problems} == {
        "x.fits": "its solved copy x.new is used",
        "x.wcs": "its solved copy x.new is used",
    }
    assert all(p.is_sidecar for p in frames.problems)


def test_unsolved_image_points_to_the_solved_copy_beside_it(tmp_path: Path) -> None:
    image = write_image(tmp_path / "x.fits", UNSOLVED)
    write_image(tmp_path / "x.new")
    frames = read_frames([image])
    assert "its solved copy x.new lies beside it" in frames.problems[0].reason


def test_same_frame_in_two_files_counts_once(tmp_path: Path) -> None:
    raw = write_image(tmp_path / "x.fits").read_bytes()
    (tmp_path / "x.fits.gz").write_bytes(gzip.compress(raw))
    (tmp_path / "y.fits").write_bytes(raw)
    frames = read_frames([tmp_path])
    assert [frame.name for frame in frames.frames] == ["x.fits"]
    assert {p.reason for p in frames.problems} == {"is the same frame as x.fits, which is used"}


def test_subfolders_give_names_and_folders(tmp_path: Path) -> None:
    for folder in ("east", "west"):
        (tmp_path / folder).mkdir()
        write_image(tmp_path / folder / "a.fits", CRVAL1=100.0 if folder == "east" else 80.0)
    frames = read_frames([tmp_path], recursive=True).frames
    assert [(frame.name, frame.folder) for frame in frames] == [
        ("east/a.fits", "east"),
        ("west/a.fits", "west"),
    ]


def test_progress_counts_every_file(tmp_path: Path) -> None:
    for name in "abc":
        write_image(tmp_path / f"{name}.fits", CRVAL1=float(ord(name)))
    seen: list[tuple[int, int]] = []
    read_frames([tmp_path], progress=lambda done, total: seen.append((done, total)))
    assert seen == [(1, 3), (2, 3), (3, 3)]


def test_file_that_vanishes_meanwhile_is_a_problem(tmp_path: Path) -> None:
    for name in "ab":
        write_image(tmp_path / f"{name}.fits")

    def remove(*_: Any) -> None:
        (tmp_path / "b.fits").unlink(missing_ok=True)

    frames = read_frames([tmp_path], progress=remove)
    assert len(frames.frames) == 1
    assert "no such file" in frames.problems[0].reason


def test_clock_ahead_reaches_every_frame(tmp_path: Path) -> None:
    write_image(tmp_path / "a.fits")
    (frame,) = read_frames([tmp_path], clock_ahead_s=3600).frames
    assert iso_from_utc(frame.utc) == "2026-11-14T19:13:50.12Z"


def test_nothing_there_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        read_frames([tmp_path / "none"])
