"""Bad input through the whole command: a refusal that says where and what to do, or a warning, never a traceback.

`tests.commands` checks of every run: the exit code, no control or steering characters, no fault of the program.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits

from polarcheck.simulate import Camera
from tests.commands import ERROR, answered, change, frames, overwrite, refused


@pytest.fixture(scope="session")
def _good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("good")
    frames(folder, 4)
    return folder


@pytest.fixture
def good(_good: Path, tmp_path: Path) -> list[Path]:
    """Four good frames of one camera, to be spoiled."""
    folder = tmp_path / "night"
    shutil.copytree(_good, folder)
    return sorted(folder.iterdir())


def codes(result: dict[str, Any]) -> set[str]:
    return {warning["code"] for warning in result["warnings"]}


def reasons(result: dict[str, Any]) -> dict[str, str]:
    return {frame["file"]: frame["reason"] for frame in result["frames"] if not frame["used"]}


def test_good_frames_give_an_answer_without_a_word(good: list[Path]) -> None:
    result, said = answered("measure", good[0].parent)
    assert (result["fit"]["frames_used"], result["warnings"], said) == (4, [], "")


# nothing to measure


def test_empty_folder(tmp_path: Path) -> None:
    said = refused("measure", tmp_path)
    assert tmp_path.name in said
    assert "holds no frame" in said
    assert ".fits" in said


def test_folder_of_other_files(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("cold tonight")
    assert "holds no frame" in refused("measure", tmp_path)


def test_frames_in_a_subfolder(good: list[Path]) -> None:
    assert "--recursive" in refused("measure", good[0].parent.parent)


def test_path_that_is_not_there(tmp_path: Path) -> None:
    assert "there is no file or folder" in refused("measure", tmp_path / "gone")


def test_text_named_as_a_frame(tmp_path: Path) -> None:
    (tmp_path / "notes.fits").write_text("cold tonight")
    said = refused("measure", tmp_path)
    assert "notes.fits: " in said
    assert "not a FITS file" in said


def test_one_frame(good: list[Path]) -> None:
    said = refused("measure", good[0])
    assert "1 usable frame" in said
    assert "two solved frames at different right ascensions are the least" in said


def test_copies_of_one_frame(good: list[Path]) -> None:
    copies = [Path(shutil.copy(good[0], good[0].with_name(f"copy_{i}.fits"))) for i in range(3)]
    assert "copies" in refused("measure", good[0], *copies)


def test_arc_below_a_degree(tmp_path: Path) -> None:
    frames(tmp_path, axis_angles_deg=[5.0, 5.2, 5.4], noise_px=0.3)
    said = refused("measure", tmp_path)
    assert "leave the axis uncertain" in said
    assert "Turn the mount by 30 deg or more" in said


def solution_of(path: Path) -> dict[str, float]:
    return {
        key: value for key, value in fits.getheader(path).items() if key.startswith(("CRVAL", "CRPIX", "CD"))
    }


def test_solution_of_the_first_frame_in_all(good: list[Path]) -> None:
    """As when a solution is carried on into the headers of later frames."""
    for path in good[1:]:
        change(path, **solution_of(good[0]))
    said = refused("measure", good[0].parent)
    assert "1 usable frame" in said
    assert f"{good[1].name}: carries the very solution of {good[0].name}" in said
    assert "plate-solve it itself" in said


def test_solution_of_an_earlier_frame_in_one(good: list[Path]) -> None:
    change(good[2], **solution_of(good[1]))
    result, _ = answered("measure", good[0].parent)
    assert list(reasons(result)) == [good[2].name]
    assert f"the very solution of {good[1].name}" in reasons(result)[good[2].name]


# frames that are none


def spoil_truncated(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:1500])


def spoil_emptied(path: Path) -> None:
    path.write_bytes(b"")


def spoil_unsolved(path: Path) -> None:
    change(path, CTYPE1=None, CTYPE2=None)


def spoil_nan(path: Path) -> None:
    overwrite(path, "CRVAL1", b"CRVAL1  =                  NaN")


def spoil_singular(path: Path) -> None:
    change(path, CD1_1=0.0, CD1_2=0.0)


def spoil_huge_scale(path: Path) -> None:
    change(path, CD1_1=1e300)


def spoil_month(path: Path) -> None:
    change(path, DATE__OBS="2026-13-14T21:10:00")


def spoil_century(path: Path) -> None:
    change(path, DATE__OBS="1726-11-14T21:10:00")


def spoil_time(path: Path) -> None:
    header = fits.getheader(path)
    change(path, **{name.replace("-", "__"): None for name in header if name.startswith(("DATE", "MJD"))})


def spoil_link(path: Path) -> None:
    path.unlink()
    path.symlink_to(path.with_name("gone.fits"))


def spoil_endless_link(path: Path) -> None:
    path.unlink()
    path.symlink_to(path)


def spoil_table(path: Path) -> None:
    table = fits.BinTableHDU.from_columns([fits.Column("flux", "D", array=np.zeros(3))])
    table.writeto(path, overwrite=True)


SPOILED: dict[Callable[[Path], None], str] = {
    spoil_truncated: "breaks off",
    spoil_emptied: "empty",
    spoil_unsolved: "is not solved",
    spoil_nan: "CRVAL1",
    spoil_singular: "singular",
    spoil_huge_scale: "solution is absurd",
    spoil_month: "DATE-OBS",
    spoil_century: "1960 to 2100",
    spoil_time: "no time of exposure",
    spoil_link: "cannot be opened",
    spoil_endless_link: "cannot be opened",
    spoil_table: "is not solved|holds no image",
}
each_spoiler = pytest.mark.parametrize("spoil", SPOILED, ids=lambda f: f.__name__.removeprefix("spoil_"))


@each_spoiler
def test_one_spoiled_frame_is_named_and_left_out(spoil: Callable[[Path], None], good: list[Path]) -> None:
    spoil(good[1])
    result, _ = answered("measure", *good)
    assert list(reasons(result)) == [good[1].name]
    assert re.search(SPOILED[spoil], reasons(result)[good[1].name]), reasons(result)
    assert result["fit"]["frames_used"] == 3
    assert result["error"]["azimuth_arcmin"] == pytest.approx(ERROR[0], abs=1.0)


@each_spoiler
def test_all_spoiled_frames_are_refused_by_name(spoil: Callable[[Path], None], good: list[Path]) -> None:
    for path in good:
        spoil(path)
    said = refused("measure", *good)
    assert good[0].name in said
    assert re.search(SPOILED[spoil], said)


def test_file_without_permission_to_read(good: list[Path]) -> None:
    good[1].chmod(0)
    if os.access(good[1], os.R_OK):
        pytest.skip("this user may read everything")
    result, _ = answered("measure", good[0].parent)
    assert "cannot be opened" in reasons(result)[good[1].name]


def test_cube_counts_by_its_first_two_axes(good: list[Path]) -> None:
    with fits.open(good[1]) as content:
        cube = fits.PrimaryHDU(np.stack([content[0].data] * 3), content[0].header)
    cube.writeto(good[1], overwrite=True)
    result, _ = answered("measure", good[0].parent)
    assert result["fit"]["frames_used"] == 4
    assert result["error"]["azimuth_arcmin"] == pytest.approx(ERROR[0], abs=1.0)


@pytest.mark.parametrize("exposure", [0.0, -5.0])
def test_impossible_exposure_is_taken_as_unknown(exposure: float, good: list[Path]) -> None:
    for path in good:
        change(path, EXPTIME=exposure)
    result, said = answered("measure", good[0].parent)
    assert codes(result) == {"exposure-unknown"}
    assert "how long the exposure was" in said


def test_folder_named_as_a_frame_is_no_frame(good: list[Path]) -> None:
    good[1].unlink()
    good[1].mkdir()
    result, _ = answered("measure", good[0].parent)
    assert [frame["file"] for frame in result["frames"]] == [p.name for p in good if p != good[1]]
    assert "holds no frame" in refused("measure", good[1])


# two cameras


OTHER = Camera(width_px=160, height_px=100, pixel_scale_arcsec=12.0)


def mixed(folder: Path, small: int, other: int) -> Path:
    """Frames of two cameras on one mount, in turn west and further west."""
    frames(folder / "a", small, axis_angles_deg=[5.0 + 15 * i for i in range(small)])
    there = [8.0 + 15 * i for i in range(other)]
    for path in frames(folder / "b", other, axis_angles_deg=there, camera=OTHER, seed=1):
        path.rename(folder / "a" / f"other_{path.name}")
    return folder / "a"


@pytest.mark.parametrize(("small", "other"), [(2, 2), (3, 2), (3, 3)])
def test_two_cameras_are_two_groups_of_one_axis(small: int, other: int, tmp_path: Path) -> None:
    result, _ = answered("measure", mixed(tmp_path, small, other))
    assert result["fit"]["frames_used"] == small + other
    assert "several-groups" in codes(result)
    assert result["error"]["azimuth_arcmin"] == pytest.approx(ERROR[0], abs=5.0)


def test_single_frame_of_another_camera_is_left_out(tmp_path: Path) -> None:
    result, _ = answered("measure", mixed(tmp_path, 3, 1))
    assert "the only frame in use of its camera (160 x 100 px" in reasons(result)["other_simulated_01.fits"]
    assert result["fit"]["frames_used"] == 3


@pytest.mark.parametrize("which", range(4))
def test_frame_of_another_scale_leaves_no_trace(which: int, good: list[Path]) -> None:
    """Left out or never there, wherever in the night it was taken: the same answer."""
    change(good[which], CD1_2=0.0)
    with_it, _ = answered("measure", good[0].parent)
    assert "the only frame in use of its camera" in reasons(with_it)[good[which].name]
    good[which].unlink()
    without, _ = answered("measure", good[0].parent)
    for name, value in without["error"].items():
        assert with_it["error"][name] == pytest.approx(value, rel=1e-6), name


def test_one_frame_of_each_of_two_cameras_is_refused(tmp_path: Path) -> None:
    said = refused("measure", mixed(tmp_path, 1, 1))
    assert "camera" in said
