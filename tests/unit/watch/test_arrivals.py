"""Files as capture programs and solvers write them: in pieces, renamed, solved later, replaced, deleted."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from astropy.io import fits

from polarcheck.errors import InputError
from polarcheck.frames import ProblemKind
from polarcheck.watch import Arrivals, Look
from tests.commands import frames as simulated_frames


class Clock:
    """Monotonic seconds that a test sets."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> float:
        return self.seconds


class Folder:
    """A followed folder, and frames that lie elsewhere to be brought into it."""

    def __init__(self, place: Path) -> None:
        self.path, self.clock = place / "night", Clock()
        self.path.mkdir()
        self.made = simulated_frames(place / "made", 3)
        self.arrivals = Arrivals(self.path, now=self.clock)

    def look(self, after: float = 0.1) -> Look:
        self.clock.seconds += after
        return self.arrivals.look()

    def names(self, looks: int = 2) -> list[str]:
        """Frames that some looks bring."""
        return [frame.name for _ in range(looks) for frame in self.look().frames]

    def bring(self, number: int = 0) -> Path:
        return Path(shutil.copyfile(self.made[number], self.path / self.made[number].name))


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def test_whole_file_is_taken_at_the_second_look_and_once(folder: Folder) -> None:
    path = folder.bring()
    first = folder.look()
    assert first.frames == ()
    assert first.growing == 1
    assert first.again_s == pytest.approx(0.08)
    assert [frame.name for frame in folder.look().frames] == [path.name]
    assert folder.names(3) == []
    assert folder.look().again_s is None


def test_old_file_is_taken_at_once(folder: Folder) -> None:
    path = folder.bring()
    os.utime(path, (1_700_000_000, 1_700_000_000))
    assert len(folder.look().frames) == 1


def test_file_written_in_pieces_is_taken_when_it_is_whole(folder: Folder) -> None:
    content = folder.made[0].read_bytes()
    path = folder.path / "slow.fits"
    for part in (0, 1000, 2880, len(content) // 2, len(content) - 2880):
        path.write_bytes(content[:part])
        look = folder.look()
        assert look.frames == ()
        assert folder.look().frames == ()  # at rest for a while, but not whole
        assert look.growing == 1
    path.write_bytes(content)
    assert folder.names() == ["slow.fits"]


def test_file_of_full_size_whose_header_comes_last_is_taken_then(folder: Folder) -> None:
    content = folder.made[0].read_bytes()
    path = folder.path / "zeros.fits"
    path.write_bytes(bytes(len(content)))
    assert folder.names() == []
    path.write_bytes(content)
    os.utime(path, ns=(1, path.stat().st_mtime_ns + 1_000_000))
    assert folder.names() == ["zeros.fits"]


def test_temporary_name_is_passed_over_until_it_is_renamed(folder: Folder) -> None:
    hidden, part = folder.path / ".frame.fits", folder.path / "frame.fits.part"
    shutil.copyfile(folder.made[0], hidden)
    shutil.copyfile(folder.made[1], part)
    assert folder.names() == []
    part.rename(folder.path / "frame.fits")
    assert folder.names() == ["frame.fits"]


def test_solution_that_comes_later_makes_it_a_frame(folder: Folder) -> None:
    solved = folder.made[0]
    with fits.open(solved) as content:
        header = content[0].header
        bare = header.copy()
        for keyword in ("CTYPE1", "CTYPE2"):
            del bare[keyword]
        fits.PrimaryHDU(content[0].data, bare).writeto(folder.path / "raw.fits")
    folder.look()
    look = folder.look()
    assert look.unsolved == 1
    assert [problem.kind for problem in look.problems] == [ProblemKind.NOT_SOLVED]
    header["NAXIS"] = 0
    header["IMAGEW"], header["IMAGEH"] = header.pop("NAXIS1"), header.pop("NAXIS2")
    fits.PrimaryHDU(header=header).writeto(folder.path / "raw.wcs")
    assert folder.names() == ["raw.fits"]
    assert folder.look().unsolved == 0


def test_replaced_file_is_taken_again_only_if_it_tells_something_else(folder: Folder) -> None:
    path = folder.bring()
    assert len(folder.names()) == 1
    os.utime(path, (1_700_000_000, 1_700_000_000))  # copied once more
    assert folder.names() == []
    shutil.copyfile(folder.made[1], path)  # solved anew
    assert folder.names() == [path.name]


def test_deleted_file_is_forgotten_and_taken_when_it_comes_back(folder: Folder) -> None:
    path = folder.bring()
    folder.names()
    path.unlink()
    assert folder.names() == []
    folder.bring()
    assert folder.names() == [path.name]


def test_file_deleted_while_it_grows_leaves_nothing(folder: Folder) -> None:
    path = folder.path / "a.fits"
    path.write_bytes(folder.made[0].read_bytes()[:3000])
    assert folder.look().growing == 1
    path.unlink()
    assert folder.look().growing == 0


def test_damaged_file_is_told_once_and_not_before_a_second_try(folder: Folder) -> None:
    (folder.path / "bad.fits").write_bytes(b"no FITS at all" * 500)
    assert [p.name for _ in range(2) for p in folder.look().problems] == []
    told = [p.name for _ in range(80) for p in folder.look(1.0).problems]
    assert told == ["bad.fits"]


def test_subfolders_are_looked_into_when_asked(folder: Folder) -> None:
    inside = folder.path / "lights"
    inside.mkdir()
    shutil.copyfile(folder.made[0], inside / "a.fits")
    assert folder.names() == []
    folder.arrivals = Arrivals(folder.path, recursive=True, now=folder.clock)
    assert folder.names() == ["lights/a.fits"]


@pytest.mark.parametrize("there", [".", "night", "../night"])
def test_a_relative_folder_names_its_files_alike(
    folder: Folder, there: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder.path / "lights").mkdir()
    (folder.path.parent / "beside").mkdir()
    shutil.copyfile(folder.made[0], folder.path / "a.fits")
    shutil.copyfile(folder.made[1], folder.path / "lights" / "b.fits")
    at = {".": folder.path, "night": folder.path.parent, "../night": folder.path.parent / "beside"}
    monkeypatch.chdir(at[there])
    folder.arrivals = Arrivals(Path(there), recursive=True, now=folder.clock)
    folder.look()
    found = {frame.name: (frame.folder, frame.path) for frame in folder.look().frames}
    assert found == {
        "a.fits": ("", Path(there) / "a.fits"),
        "lights/b.fits": ("lights", Path(there) / "lights" / "b.fits"),
    }


def test_folder_that_is_gone_is_an_error(folder: Folder) -> None:
    folder.path.rmdir()
    with pytest.raises(InputError, match="cannot list"):
        folder.look()


@pytest.mark.parametrize(("age_s", "at_once"), [(2.0, False), (4.0, True)])
def test_file_three_seconds_old_needs_no_second_look(
    folder: Folder, monkeypatch: pytest.MonkeyPatch, age_s: float, at_once: bool
) -> None:
    """Memory cards keep times to two seconds (FAT file system, from memory): so much younger it may still be written."""
    path = folder.bring()
    os.utime(path, (1_700_000_000, 1_700_000_000))
    monkeypatch.setattr("time.time", lambda: 1_700_000_000 + age_s)
    assert (len(folder.look().frames) == 1) is at_once


def test_file_that_cannot_be_used_is_tried_for_some_time_ever_more_rarely(folder: Folder) -> None:
    """A virus guard or a slow network drive lets go within seconds (common practice, no source)."""
    (folder.path / "bad.fits").write_bytes(b"no FITS at all" * 500)
    folder.look()
    waits = [folder.look().again_s]
    while waits[-1] is not None:
        waits.append(folder.look(waits[-1]).again_s)
    assert waits == [pytest.approx(0.5), pytest.approx(2.0), pytest.approx(8.0), pytest.approx(30.0), None]
