"""Whole runs of the program with its streams closed or full, on pixels that are no numbers, and on spoiled inputs."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from polarcheck.frames import headers, pixels, read_pixels
from tests.commands import SAMPLES, answered, run
from tests.fits_files import SOLVED, header, write_image
from tests.mutations import fault_of, kinds
from tests.spoiled_folders import folder_kinds

POSIX = pytest.mark.skipif(os.name != "posix", reason="needs a shell and /dev/full")
DRIFT = "drift --error 2,2 --site 47.3,11.2 --target M31 --at 2026-11-14T21:10:00 --for 10min"
PROGRAM = f"{sys.executable} -c 'from polarcheck.cli import main; main()'"
SPOILED, SPOILED_FOLDERS = 500, 40


def shell(command: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a command of a shell; it ends within a minute."""
    return subprocess.run(
        ["/bin/sh", "-c", command],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env={**os.environ, **environment},
    )


@POSIX
@pytest.mark.parametrize("arguments", ["--help", "drift --help", DRIFT, DRIFT + " --json", "--version"])
def test_full_disk_behind_stdout_is_said_in_one_line(arguments: str) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    done = shell(f"{PROGRAM} {arguments} > /dev/full")
    assert done.returncode == 1
    assert done.stderr == "polarcheck: the answer cannot be written (No space left on device)\n"


@POSIX
def test_closed_streams_cost_nothing_else() -> None:
    whole = shell(f"{PROGRAM} {DRIFT}")
    assert whole.returncode == 0
    assert shell(f"{PROGRAM} {DRIFT} 2>&-").stdout == whole.stdout
    assert shell(f"{PROGRAM} {DRIFT} >&-").returncode == 0
    wrong = shell(f"{PROGRAM} drift --target zzz 2>&-")
    assert (wrong.returncode, wrong.stdout) == (2, "")


@POSIX
def test_reader_that_has_gone_is_no_fault() -> None:
    done = shell(f"{PROGRAM} {DRIFT} --json | head -c 1")
    assert done.stderr == ""


@POSIX
@pytest.mark.parametrize("year", ["1850", "1899", "2099", "2150", "9999"])
def test_no_library_talks_of_its_own_accord(tmp_path: Path, year: str) -> None:
    """Of years beyond its tables ERFA warns, of places that cannot be written astropy and matplotlib."""
    arguments = DRIFT.replace("2026", year) + f" --plot {tmp_path / 'a.png'}"
    done = shell(f"{PROGRAM} {arguments}", XDG_CONFIG_HOME="/no/such/home", MPLCONFIGDIR="/no/such/home")
    assert "Warning" not in done.stderr
    assert "mkdir" not in done.stderr
    assert all(line.startswith(("warning: ", "polarcheck: ", "  ")) for line in done.stderr.splitlines())


@pytest.fixture
def spoiled_night(tmp_path: Path) -> Path:
    """Four frames: a good one, one of NaN, one of 3.4e38, one with some pixels that are no numbers."""
    for i, path in enumerate(sorted((SAMPLES / "north_sweep").glob("*.fz"))[:4]):
        with fits.open(path) as hdus:
            cards, light = hdus[1].header.copy(), np.asarray(hdus[1].data, dtype=np.float32)
        light[{0: np.s_[:0], 1: np.s_[:], 2: np.s_[:], 3: np.s_[10:30, 10:30]}[i]] = [
            0,
            np.nan,
            3.4e38,
            np.inf,
        ][i]
        for card in ("BZERO", "BSCALE"):
            cards.remove(card, ignore_missing=True)
        fits.PrimaryHDU(light, cards).writeto(tmp_path / f"night_{i}.fits")
    return tmp_path


def test_frame_without_numbers_is_unknown_and_the_rest_is_answered(spoiled_night: Path) -> None:
    result, said = answered("stars", spoiled_night)
    measured = {frame["file"]: frame["stars"] for frame in result["frames"]}
    assert [bool(stars) for stars in measured.values()] == [True, False, False, True]
    assert "night_1.fits, night_2.fits" in said
    assert "most of its pixels are no numbers" in run("stars", spoiled_night).stdout
    result, _ = answered("measure", spoiled_night, "--stars")
    assert result["fit"]["frames_used"] == 4


@pytest.mark.parametrize(("kind", "shape"), [("float64", (22_000, 22_000)), ("int16", (40_000, 40_000))])
def test_image_too_large_for_the_memory_is_refused_by_its_header(
    tmp_path: Path, kind: str, shape: tuple[int, int]
) -> None:
    path = tmp_path / "large.fits"
    cards = header({**SOLVED, "BITPIX": {"float64": -64, "int16": 16}[kind]})
    whole = fits.PrimaryHDU(np.zeros((2, 2), kind), cards).header
    whole["NAXIS1"], whole["NAXIS2"] = shape
    raw = whole.tostring().encode()
    with path.open("wb") as stream:  # a hole, so that it takes no room
        stream.write(raw)
        stream.truncate(len(raw) + -(-shape[0] * shape[1] * np.dtype(kind).itemsize // 2880) * 2880)
    assert "is too large" in run("stars", path).stderr.replace("\n ", "")


def test_archive_that_unpacks_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import gzip

    monkeypatch.setattr(headers, "MOST_BYTES_UNPACKED", 3_000_000)
    raw = write_image(tmp_path / "a.fits").read_bytes() + b"\0" * 20_000_001
    (tmp_path / "b.fits.gz").write_bytes(gzip.compress(raw))
    assert "unpacks to more than" in run("measure", tmp_path / "b.fits.gz").stderr.replace("\n ", "")


def test_pixels_of_a_large_but_possible_image_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pixels, "_MOST_BYTES", 60 * 40 * 4)
    assert read_pixels(write_image(tmp_path / "a.fits")).shape == (40, 60)
    assert "is too large" in run("stars", write_image(tmp_path / "b.fits", shape=(41, 60))).stderr


def test_spoiled_inputs_end_in_plain_words(tmp_path: Path) -> None:
    """`python -m tests.benchmarks.mutations` does the same 20,000 times."""
    makers = list(kinds(tmp_path).values())
    faults = {}
    for number in range(SPOILED):
        spoiled = makers[number % len(makers)](np.random.default_rng([20, number]), number)
        code, seconds, said = fault_of(spoiled)
        if said is not None:
            faults[number] = (spoiled, code, seconds, said)
    assert faults == {}
    shutil.rmtree(tmp_path / "made", ignore_errors=True)


def test_spoiled_folders_end_in_plain_words(tmp_path: Path) -> None:
    """Nights, questions about the sky, pictures and a solver's answers; the benchmark has more of them."""
    makers = list(folder_kinds(tmp_path).values())
    faults = {}
    for number in range(SPOILED_FOLDERS):
        spoiled = makers[number % len(makers)](np.random.default_rng([21, number]), number)
        code, seconds, said = fault_of(spoiled)
        if said is not None:
            faults[number] = (spoiled, code, seconds, said)
    assert faults == {}
