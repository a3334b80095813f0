"""How long a page takes, and how large it gets, with many frames: ``python -m tests.benchmarks.report [FRAMES ...]``.

Each folder holds a sweep of eight frames, a night's file that tells it, and, for the rest, light frames of one field,
all of 1200 by 900 px.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from polarcheck.digest import DigestWish, digest_night
from polarcheck.measurement import measure
from polarcheck.night import NightBook
from polarcheck.report import night_page
from polarcheck.simulate import Camera
from polarcheck.sky import find_target
from tests.commands import ERROR, EVENING, NORTH, simulated

CAMERA = Camera(width_px=1200, height_px=900, pixel_scale_arcsec=4.95)


def folder_of(parent: Path, count: int) -> Path:
    """A sweep, the night's file, and light frames, together so many."""
    folder = parent / f"night_{count}"
    made = {"error_arcmin": ERROR, "site": NORTH, "utc": EVENING, "camera": CAMERA, "noise_px": 0.05}
    simulated(folder, **made, axis_angles_deg=[-40.0 + 10 * i for i in range(8)])
    book = NightBook(folder)
    assert book.write(book.measured(measure(folder), [folder])) == ()
    lights = simulated(parent / "lights", **made, axis_angles_deg=_tracked(count - 8), declination_deg=35.0)
    for path in lights:
        path.rename(folder / f"light_{path.name}")
    for path in (parent / "lights").iterdir():
        path.unlink()
    return folder


def _tracked(count: int) -> list[float]:
    """Axis angles of a mount that tracks while frames are taken at the cadence of a sweep."""
    cadence_s = 40.0
    return [10.0 + i * cadence_s / 240.0 for i in range(count)]


def main() -> None:
    """Print one line a folder."""
    counts = [int(text) for text in sys.argv[1:]] or [20, 100, 500]
    print("frames  seconds  processor  page kB")
    for count in counts:
        with tempfile.TemporaryDirectory() as parent:
            folder = folder_of(Path(parent), count)
            wall, used = time.perf_counter(), time.process_time()
            night = digest_night(folder, wish=DigestWish((find_target("M31"),)))
            page = night_page(night)
            wall, used = time.perf_counter() - wall, time.process_time() - used
            print(f"{count:6d}  {wall:7.1f}  {used:9.1f}  {len(page.encode()) / 1000:7.0f}", flush=True)
            print(
                f"        targets: {', '.join(str(len(t.lights.frames)) for t in night.targets if t.lights)}"
            )


if __name__ == "__main__":
    main()
