"""How long it takes: a cold start, a sweep of eight frames, ten thousand frames.

Run ``python -m tests.benchmarks.speed`` from the project's root; ``--frames N`` for a smaller large folder. With
``--against PATH``, another checkout of the project, cold starts are compared with that one instead, in one run.
Prints wall times of whole processes (median of several, alternating with what they are compared to) and
the ratios that docs/speed.md quotes. Compare ratios, not seconds: machines differ.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from astropy.io import fits

from polarcheck.simulate import Camera
from polarcheck.site import Site
from polarcheck.times import utc_from_iso
from tests.commands import simulated

ROOT = Path(__file__).parents[2]
SWEEP = ROOT / "sample_frames" / "north_sweep"
RUN = "from polarcheck.cli import main; main()"
LIBRARIES = "import numpy, astropy.io.fits, astropy.wcs, scipy.optimize"
COMPILED = Path(tempfile.gettempdir()) / "polarcheck_benchmark_compiled"
COLD = (
    ("measure", str(SWEEP)),
    ("measure", str(SWEEP), "--json"),
    ("--help",),
    ("measure", "--help"),
    ("exposure", "--help"),
)
"""What is compared with another checkout."""
PLAIN_LOOP = """
import sys, warnings
from pathlib import Path
from astropy.io import fits
from astropy.wcs import WCS
warnings.simplefilter("ignore")
for path in sorted(Path(sys.argv[1]).glob("*.fits")):
    WCS(fits.getheader(path))
"""
PEAK = """
import sys
from polarcheck.cli import main
try:
    main()
finally:
    import resource
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)
"""


@dataclass(frozen=True)
class Cost:
    """What one process took: time by the clock, and of the processor where the system tells. [s]"""

    wall: float
    processor: float


def cost(*arguments: str, checkout: Path = ROOT) -> Cost:
    """Run one Python process with the package of a checkout, compiled before."""
    settings = {**os.environ, "PYTHONPATH": str(checkout), "PYTHONPYCACHEPREFIX": str(COMPILED)}
    settings.pop("PYTHONDONTWRITEBYTECODE", None)
    start, before = time.perf_counter(), os.times()
    subprocess.run(
        [sys.executable, *arguments], check=True, capture_output=True, env=settings, cwd=tempfile.gettempdir()
    )
    after = os.times()
    worked = after.children_user + after.children_system - before.children_user - before.children_system
    return Cost(time.perf_counter() - start, worked)


def wall(*arguments: str) -> float:
    """Wall time of one Python process. [s]"""
    return cost(*arguments).wall


def alternate(ours: tuple[str, ...], theirs: tuple[str, ...], runs: int) -> tuple[float, float]:
    """Median wall times of two processes that take turns, after one warm-up each. [s]"""
    wall(*ours), wall(*theirs)
    pairs = [(wall(*ours), wall(*theirs)) for _ in range(runs)]
    return statistics.median(p[0] for p in pairs), statistics.median(p[1] for p in pairs)


def compare(other: Path, runs: int) -> None:
    """Print cold starts of this checkout beside those of another one; the two take turns.

    Wall times are medians. Of processor times, which other work on the machine disturbs less, the least counts.
    """
    for arguments in COLD:
        for checkout in (ROOT, other):
            cost("-c", RUN, *arguments, checkout=checkout)  # writes the compiled files
        pairs = [
            [cost("-c", RUN, *arguments, checkout=place) for place in (ROOT, other)] for _ in range(runs)
        ]
        (here, there) = (statistics.median(pair[i].wall for pair in pairs) for i in (0, 1))
        (worked, worked_there) = (min(pair[i].processor for pair in pairs) for i in (0, 1))
        print(
            f"{' '.join(Path(word).name for word in arguments):<28} wall {here:.3f} s, there {there:.3f} s, ratio "
            f"{here / there:.2f}; processor {worked:.2f} s, there {worked_there:.2f} s, ratio "
            f"{worked / (worked_there or float('nan')):.2f}"
        )


def write_large_folder(folder: Path, count: int) -> None:
    """Distinct solved frames, uncompressed, so that the plain loop is at its best."""
    made = simulated(
        folder / "compressed",
        error_arcmin=(23.4, -11.8),
        site=Site(47.3, 11.2, 900.0),
        utc=utc_from_iso("2026-11-14T18:00:00"),
        axis_angles_deg=list(np.linspace(-60, 60, count)),
        exposure_s=1.0,
        cadence_s=3.0,
        camera=Camera(width_px=120, height_px=90, pixel_scale_arcsec=45.0),
    )
    plain = folder / "plain"
    plain.mkdir()
    for path in made:
        with fits.open(path) as hdus:
            solved = next(hdu for hdu in hdus if hdu.header.get("CTYPE1"))
            fits.PrimaryHDU(np.zeros((90, 120), np.uint8), solved.header).writeto(
                plain / f"{path.name.split('.')[0]}.fits"
            )


def peak_memory_mb(folder: Path) -> float | None:
    """Peak memory of measuring a folder, where the system tells. [MB]"""
    if os.name != "posix" or sys.platform == "darwin":
        return None
    run = subprocess.run(
        [sys.executable, "-c", PEAK, "measure", str(folder), "--json"],
        check=False,
        capture_output=True,
        text=True,
    )
    return int(run.stderr.strip().splitlines()[-1]) / 1024


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=10_000)
    parser.add_argument("--runs", type=int, default=9)
    parser.add_argument("--against", type=Path, help="another checkout to compare cold starts with")
    options = parser.parse_args()
    if options.against is not None:
        compare(options.against.resolve(), options.runs)
        return
    ours, theirs = alternate(("-c", RUN, "measure", str(SWEEP)), ("-c", LIBRARIES), options.runs)
    print(
        f"measure, 8 frames: {ours:.3f} s; its libraries alone: {theirs:.3f} s; ratio {ours / theirs:.2f} (at most 1.4)"
    )
    ours, theirs = alternate(("-c", RUN, "--help"), ("-c", "pass"), options.runs)
    print(
        f"--help: {ours:.3f} s; bare interpreter: {theirs:.3f} s; beyond it {ours - theirs:.3f} s (at most 0.25)"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_large_folder(folder, options.frames)
        large = str(folder / "plain")
        ours, theirs = alternate(("-c", RUN, "measure", large, "--json"), ("-c", PLAIN_LOOP, large), 3)
        print(
            f"{options.frames} frames: {ours:.1f} s; plain loop: {theirs:.1f} s; ratio {ours / theirs:.2f} (at most 1.2)"
        )
        print(f"peak memory: {peak_memory_mb(folder / 'plain')} MB; for 8 frames {peak_memory_mb(SWEEP)} MB")


if __name__ == "__main__":
    main()
