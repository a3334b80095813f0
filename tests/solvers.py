"""Stand-ins for a plate solver: programs that do what a good or a bad one does, and star fields for them."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits

from tests.fits_files import SITE, TIME, header, write_solution

POSIX = pytest.mark.skipif(os.name != "posix", reason="the stand-in is a script with a #! line")
SIZE = (160, 120)
SOLUTION: dict[str, Any] = {
    "CTYPE1": "RA---TAN",
    "CTYPE2": "DEC--TAN",
    "CRVAL1": 100.0,
    "CRVAL2": 40.0,
    "CRPIX1": 80.5,
    "CRPIX2": 60.5,
    "CD1_1": -20 / 3600,
    "CD1_2": 0.0,
    "CD2_1": 0.0,
    "CD2_2": 20 / 3600,
}

_SCRIPT = """#!{python}
import os, shutil, subprocess, sys, time
here = {folder!r}
open(os.path.join(here, "calls"), "a").write(os.getcwd() + " " + " ".join(sys.argv[1:]) + "\\n")
mode = open(os.path.join(here, "mode")).read()
if mode == "good once":
    try:
        os.mkdir(os.path.join(here, "was good"))
        mode = "good"
    except FileExistsError:
        mode = "hang"
if mode == "hang":
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
    open(os.path.join(here, "children"), "a").write(f"{{os.getpid()}} {{child.pid}}\\n")
    time.sleep(600)
elif mode == "crash":
    print("first line")
    print("\\x1b[31mout of luck\\x1b[0m")
    sys.exit(7)
elif mode == "kill":
    os.kill(os.getpid(), 11)
elif mode == "garbage":
    open("frame.wcs", "wb").write(bytes(range(256)) * 400)
elif mode == "half":
    whole = open(os.path.join(here, "good.wcs"), "rb").read()
    open("frame.wcs", "wb").write(whole[: len(whole) // 2 - 700])
elif mode == "flood":
    for _ in range(20000):
        print("x" * 1000)
elif mode == "bad table":
    shutil.copy(os.path.join(here, "good.wcs"), "frame.wcs")
    open("frame.corr", "wb").write(b"SIMPLE  =" + b"?" * 9000)
elif mode == "table":
    shutil.copy(os.path.join(here, "good.wcs"), "frame.wcs")
    shutil.copy(os.path.join(here, "table.corr"), "frame.corr")
elif mode in ("good", "slow"):
    time.sleep(1.2 if mode == "slow" else 0)
    shutil.copy(os.path.join(here, "good.wcs"), "frame.wcs")
elif mode == "full":
    sys.exit("No space left on device")
"""


class StandIn:
    """A stand-in for ``solve-field`` on the path, with an index file."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder = folder
        folder.mkdir(parents=True)
        program = folder / "solve-field"
        program.write_text(_SCRIPT.format(python=sys.executable, folder=str(folder)), encoding="utf-8")
        program.chmod(program.stat().st_mode | stat.S_IXUSR)
        write_solution(folder / "good.wcs", SOLUTION, SIZE)
        self.index = folder / "index"
        write_index(self.index / "index-4110.fits", 5.0, 60.0)
        self.behave("good")
        monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")

    def behave(self, mode: str) -> None:
        (self.folder / "mode").write_text(mode, encoding="utf-8")

    def calls(self) -> list[str]:
        file = self.folder / "calls"
        return file.read_text(encoding="utf-8").splitlines() if file.exists() else []

    def processes(self) -> list[int]:
        """Those that it started and that still run."""
        file = self.folder / "children"
        said = file.read_text(encoding="utf-8").split() if file.exists() else []
        return [pid for pid in map(int, said) if _runs(pid)]


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not state.exists() or state.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"


def write_index(path: Path, least_arcmin: float, most_arcmin: float) -> Path:
    """An index file's header; the rest of it is the solver's business."""
    path.parent.mkdir(parents=True, exist_ok=True)
    cards = {"SCALE_U": np.radians(most_arcmin / 60), "SCALE_L": np.radians(least_arcmin / 60)}
    fits.PrimaryHDU(None, header(cards)).writeto(path)
    return path


def star_field(
    size: tuple[int, int] = SIZE, count: int = 30, fwhm_px: float = 2.5, seed: int = 1
) -> tuple[np.ndarray, np.ndarray]:
    """An image of round stars on noise, and their 0-based places, the brightest first."""
    rng = np.random.default_rng(seed)
    width, height = size
    places = rng.uniform([8, 8], [width - 9, height - 9], (count, 2))
    y, x = np.mgrid[:height, :width]
    image = rng.normal(500, 4, (height, width))
    for (cx, cy), peak in zip(places, np.geomspace(8000, 300, count), strict=True):
        image += peak * np.exp(-4 * np.log(2) * ((x - cx) ** 2 + (y - cy) ** 2) / fwhm_px**2)
    return np.clip(image, 0, 65535).astype(np.uint16), places


def write_frame(path: Path, image: np.ndarray | None = None, **cards: Any) -> Path:
    """An unsolved frame with time and place."""
    pixels = star_field()[0] if image is None else image
    path.parent.mkdir(parents=True, exist_ok=True)
    fits.PrimaryHDU(pixels, header({**TIME, **SITE, **cards})).writeto(path)
    return path
