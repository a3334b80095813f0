"""How long a page takes, and how large it gets, with many frames: ``python -m tests.benchmarks.report [FRAMES ...]``.

Before that: how near the lengths that its sliders read come to those that are found without a table.

Each folder holds a sweep of eight frames, a night's file that tells it, and, for the rest, light frames of one field,
all of 1200 by 900 px.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from itertools import product
from pathlib import Path

from polarcheck.digest import DigestWish, digest_night
from polarcheck.measurement import measure
from polarcheck.night import NightBook
from polarcheck.outlook import Optics, Outlook, motion_curve
from polarcheck.report import night_page
from polarcheck.simulate import Camera
from polarcheck.sky import find_target
from tests.commands import ERROR, EVENING, NORTH, SAMPLES, simulated

LENS = Optics(4.95, 1200, 900, guide_offset_deg=(0.5, -0.25), periodic_error_arcsec=20.0, worm_period_s=480.0)
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


def sliders() -> None:
    """Print the largest relative difference of an exposure and its 95 % value over targets and tolerances."""
    alignment = measure(SAMPLES / "north_sweep").alignment
    worst = [0.0, 0.0]
    for target, guided in product(("M31", "M45", "NGC 7000", "M81"), (True, False)):
        at = Outlook(alignment, LENS, 1.0, guided)
        curve = motion_curve(at.scene(target, "2026-11-14T22:00:00"), alignment)
        for tolerance in (1.0, 2.0, 5.0, 10.0, 25.0, 40.0):
            exact = replace(at, tolerance_arcsec=tolerance).exposure(target, "2026-11-14T22:00:00")
            for i, length in enumerate((exact.limit_s, exact.limit_s_95)):
                read = curve.limit_s(tolerance, sure=bool(i))
                if length is not None and read is not None:
                    worst[i] = max(worst[i], abs(read / length - 1))
    print(f"sliders: within {100 * worst[0]:.2f} % of the limit, {100 * worst[1]:.2f} % of the 95 % one")


def main() -> None:
    """Print one line for the sliders, then one a folder."""
    sliders()
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
