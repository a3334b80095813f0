"""Other solvers than the one on the path: by a command, as a Python package; and frames solved on the way."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pytest
from astropy.io import fits

from polarcheck.solving.packaged_engine import is_installed
from tests.commands import SAMPLES, answered, refused, run
from tests.end_to_end.test_solve_command import INDEX, NEEDS_SOLVER, read_truth, unsolved
from tests.fits_files import write_solution
from tests.solvers import SIZE, SOLUTION, star_field, write_frame
from tests.watch_process import Script, watching

PROGRAM = """import json, shutil, sys
here, out, *rest = sys.argv[1:]
json.dump(rest, open(here + "/told.json", "w"))
for name in rest:
    if name.endswith(("stars.fits", "stars.csv", "frame.fits")):
        shutil.copy(name, here)
if out != "none":
    shutil.copy(here + "/good.wcs", out)
"""


def rig_file(folder: Path, *words: str, options: str = "") -> Path:
    """A rig file with a solver's command: this Python, a program of ours, and what it is told."""
    folder.mkdir(exist_ok=True)
    (folder / "solver.py").write_text(PROGRAM, encoding="utf-8")
    write_solution(folder / "good.wcs", SOLUTION, SIZE)
    command = [sys.executable, str(folder / "solver.py"), str(folder), *words]
    parts = ", ".join(json.dumps(word) if not word.startswith("[") else word for word in command)
    path = folder / "named.toml"
    path.write_text(f"[solver]\ncommand = [{parts}]\n{options}", encoding="utf-8")
    return path


def test_command_of_the_rig_file_is_filled_in(tmp_path: Path) -> None:
    frame = write_frame(tmp_path / "frames" / "a.fits", RA=101.0, DEC=41.0)
    before = frame.read_bytes()
    rig = rig_file(
        tmp_path / "rig", "{solution}", "{stars}", "{stars_csv}", "{image}", "w={width}x{height}", "{limit}",
        '["--scale", "{scale_low}", "{scale_high}"]', '["--near", "{ra}", "{dec}"]',
    )  # fmt: skip
    found, _ = answered("solve", frame, "--rig", rig)
    assert found["frames"][0]["state"] == "solved"
    assert found["frames"][0]["engine"] == Path(sys.executable).name
    told = json.loads((tmp_path / "rig" / "told.json").read_text("utf-8"))
    # the scale is not known, so that part is left out; the place is the header's
    assert told[3:5] == ["w=160x120", told[4]]
    assert told[5:] == ["--near", "101.00000", "41.00000"]
    listed = fits.getdata(tmp_path / "rig" / "stars.fits")
    text = (tmp_path / "rig" / "stars.csv").read_text("ascii").splitlines()
    assert len(listed) == len(text) - 1 > 20
    assert float(text[1].split(",")[0]) == pytest.approx(listed["X"][0] - 1, abs=1e-3)
    assert (tmp_path / "rig" / "frame.fits").read_bytes() == before == frame.read_bytes()
    assert not Path(told[0]).exists()


def test_command_that_is_merely_found_among_the_frames_is_not_run(tmp_path: Path) -> None:
    write_frame(tmp_path / "frames" / "a.fits")
    rig_file(tmp_path / "frames", "{solution}", "{stars}").rename(tmp_path / "frames" / "rig.toml")
    for command in (("solve",), ("measure", "--solve")):
        result = run(command[0], tmp_path / "frames", *command[1:])
        assert (result.exit_code, result.stdout) == (1, "")
        assert "name it with --rig if that program is to be run" in " ".join(result.stderr.split())
    assert not (tmp_path / "frames" / "told.json").exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('command = ["x", "{what}"]', "unknown placeholder {what}"),
        ('command = ["x"]', "must name {stars}, {stars_csv} or {image}"),
        ("command = []", "command must"),
        ("always = 1", "solver.always must be true or false"),
        ("allways = true", "did you mean always?"),
    ],
)
def test_impossible_solver_in_the_rig_file_is_told(text: str, said: str, tmp_path: Path) -> None:
    write_frame(tmp_path / "a.fits")
    (tmp_path / "r.toml").write_text(f"[solver]\n{text}\n", encoding="utf-8")
    assert said in refused("solve", tmp_path, "--rig", tmp_path / "r.toml")


def test_command_that_is_not_there_or_gives_nothing_is_told(tmp_path: Path) -> None:
    write_frame(tmp_path / "a.fits")
    (tmp_path / "r.toml").write_text('[solver]\ncommand = ["no such program", "{stars}"]\n', encoding="utf-8")
    text = refused("solve", tmp_path, "--rig", tmp_path / "r.toml")
    assert "the solver no such program cannot be started" in text
    text = refused("solve", tmp_path, "--rig", rig_file(tmp_path / "rig", "none", "{stars}"))
    assert "was not recognised" in text


def test_frames_are_solved_on_the_way_where_asked_for(tmp_path: Path) -> None:
    write_frame(tmp_path / "frames" / "a.fits", star_field(seed=6)[0])  # no two stars in one
    rig = rig_file(tmp_path / "rig", "{solution}", "{stars}")
    plain, _ = answered("stars", tmp_path / "frames", "--rig", rig)
    assert plain["frames"][0]["fwhm_arcsec"] is None
    solved, told = answered("stars", tmp_path / "frames", "--solve", "--rig", rig)
    # 2.5 px of 20 arcsec, as drawn
    assert solved["frames"][0]["fwhm_arcsec"] == pytest.approx(50, rel=0.05)
    assert "Solved on the way: 1 of 1 frames." in told
    (tmp_path / "frames" / "a.wcs").unlink()
    always = rig_file(tmp_path / "rig", "{solution}", "{stars}", options="always = true\n")
    solved, _ = answered("stars", tmp_path / "frames", "--rig", always)
    assert solved["frames"][0]["fwhm_arcsec"] == pytest.approx(50, rel=0.05)


@pytest.mark.solver
@NEEDS_SOLVER
def test_measure_and_follow_solve_on_the_way(tmp_path: Path) -> None:
    sweep, after = tmp_path / "sweep", tmp_path / "after"
    sweep.mkdir()
    after.mkdir()
    unsolved(SAMPLES / "north_sweep", sweep)
    unsolved(SAMPLES / "after_correction", after, most=1)
    assert "not solved" in refused("measure", sweep).lower()
    kept = tmp_path / "result.json"
    found, told = answered("measure", sweep, "--solve", "--out", kept)
    assert "Solved on the way: 8 of 8 frames." in told
    assert found["fit"]["frames_used"] == 8
    followed, told = answered("follow", kept, after, "--solve")
    assert "Solved on the way: 1 of 1 frames." in told
    truth = json.loads((SAMPLES / "after_correction" / "truth.json").read_text("utf-8"))["error"]
    # one frame after the turn: to what its roll knows, some arcsec
    assert followed["error"]["altitude_arcmin"] == pytest.approx(truth["altitude_arcmin"], abs=0.3)


@pytest.mark.solver
@pytest.mark.skipif(
    not is_installed() or not list(INDEX.glob("index-tycho2-07*")), reason="no packaged solver here"
)
def test_packaged_solver_gives_the_same_sweep(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    unsolved(SAMPLES / "north_sweep", tmp_path, most=4)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert shutil.which("solve-field") is None
    found, _ = answered("solve", tmp_path)
    assert {frame["engine"] for frame in found["frames"]} == {"the package astrometry"}
    measured, _ = answered("measure", tmp_path)
    truth = json.loads((SAMPLES / "north_sweep" / "truth.json").read_text("utf-8"))["error"]
    for key in ("azimuth_on_sky_arcmin", "altitude_arcmin"):
        assert measured["error"][key] == pytest.approx(truth[key], abs=0.01)
    assert run("solve", tmp_path, "--again", "--scale", "1.0,1.1").exit_code == 1


@pytest.mark.solver
@NEEDS_SOLVER
def test_watch_solves_frames_as_they_come(tmp_path: Path) -> None:
    """Unsolved frames put into a folder that is watched become a sweep with the axis that was rendered."""
    for name in ("all", "night"):
        (tmp_path / name).mkdir()
    unsolved(SAMPLES / "north_sweep", tmp_path / "all")
    frames = sorted((tmp_path / "all").iterdir())
    script = Script(tmp_path / "night", 1)  # its folder and its rig file, none of its frames
    for frame in frames[::2]:
        shutil.move(frame, script.folder)
    with watching(script.folder, script.rig, "--solve") as watch:
        for frame in frames[1::2]:
            shutil.move(frame, script.folder)
        event = watch.wait_for("measured", 1)
        watch.interrupt()
    assert len(list(script.folder.glob("*.wcs"))) >= 3
    truth = read_truth("north_sweep")
    error = event.result.error
    # measured as soon as the sweep will do, so perhaps from some of the eight frames
    assert error.azimuth_on_sky_arcmin == pytest.approx(truth["azimuth_on_sky_arcmin"], abs=0.15)
    assert error.altitude_arcmin == pytest.approx(truth["altitude_arcmin"], abs=0.15)
