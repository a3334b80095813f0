"""How long it takes: a cold start, a sweep of eight frames, a real tracked sequence, a thousand frames, ten thousand.

Run ``python -m tests.benchmarks.speed`` from the project's root; ``--frames N`` for a smaller large folder. With
``--against PATH``, another checkout of the project, cold starts are compared with that one instead, in one run.
Prints times of whole processes, and of the processor in one process once all is imported; medians of runs that take
turns with what they are compared to, and the ratios that docs/speed.md quotes. Compare ratios, not seconds: machines
differ. Other work on the machine disturbs wall times more than processor times. ``OPENBLAS_NUM_THREADS=1`` in the
environment keeps the linear algebra from spinning on several cores.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from astropy.io import fits
from astropy.wcs import WCS

from polarcheck import measure
from polarcheck.frames import read_frames
from polarcheck.simulate import Camera
from polarcheck.site import Site
from polarcheck.times import utc_from_iso
from tests.benchmarks.real_sequence import write_real_frames
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
    status = open("/proc/self/status").read()  # what getrusage tells starts at the size of the parent
    print(status.split("VmHWM:")[1].split()[0], file=sys.stderr)
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


def alternate(ours: tuple[str, ...], theirs: tuple[str, ...], runs: int) -> tuple[Cost, Cost]:
    """Median costs of two processes that take turns, after one warm-up each."""
    cost(*ours), cost(*theirs)
    pairs = [(cost(*ours), cost(*theirs)) for _ in range(runs)]
    return _median([pair[0] for pair in pairs]), _median([pair[1] for pair in pairs])


def _median(costs: list[Cost]) -> Cost:
    return Cost(statistics.median(c.wall for c in costs), statistics.median(c.processor for c in costs))


def compared(ours: Cost, theirs: Cost) -> str:
    """Both, and their ratios."""
    ratio = ours.processor / (theirs.processor or float("nan"))
    return (
        f"wall {ours.wall:.3f} s, theirs {theirs.wall:.3f} s, ratio {ours.wall / theirs.wall:.2f}; processor "
        f"{ours.processor:.2f} s, theirs {theirs.processor:.2f} s, ratio {ratio:.2f}"
    )


def plain_loop(folder: Path) -> None:
    """What everybody would write to look at the solutions of a folder."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for path in sorted(folder.glob("*.fits")):
            WCS(fits.getheader(path))


def once_imported(folder: Path, runs: int) -> str:
    """Processor times of `measure`, of its reading alone, and of the plain loop, in this process."""
    works: tuple[Callable[[Path], object], ...] = (measure, read_frames, plain_loop)
    for work in works:
        work(folder)
    times = [[_processor_time(work, folder) for work in works] for _ in range(runs)]
    whole, reading, loop = (statistics.median(column) for column in zip(*times, strict=True))
    ratio = statistics.median(row[0] / row[2] for row in times)
    return (
        f"{len(list(folder.glob('*.fits')))} frames, once all is imported: {whole:.3f} s of the processor, of these "
        f"{reading:.3f} for reading; plain loop {loop:.3f} s; ratio {ratio:.2f} (at most 1.2)"
    )


def _processor_time(work: Callable[[Path], object], folder: Path) -> float:
    begun = time.process_time()
    work(folder)
    return time.process_time() - begun


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


def peak_memory(folder: Path) -> str:
    """Peak memory of measuring a folder, where the system tells."""
    if not Path("/proc/self/status").exists():
        return "unknown"
    run = subprocess.run(
        [sys.executable, "-c", PEAK, "measure", str(folder), "--json"],
        check=False,
        capture_output=True,
        text=True,
    )
    return f"{int(run.stderr.strip().splitlines()[-1]) / 1024:.0f} MB"


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
    print_small(options.runs)
    with tempfile.TemporaryDirectory() as name:
        real = Path(name) / "real"
        write_real_frames(real)
        print(once_imported(real, options.runs))
        for count in sorted({min(1000, options.frames), options.frames}):
            print_large(Path(name) / str(count), count)


def print_small(runs: int) -> None:
    """Print what a sweep and a help text take, against libraries and the interpreter alone."""
    measured = alternate(("-c", RUN, "measure", str(SWEEP), "--no-night"), ("-c", LIBRARIES), runs)
    print(f"measure, 8 frames, and its libraries alone: {compared(*measured)} (at most 1.4)")
    ours, theirs = alternate(("-c", RUN, "--help"), ("-c", "pass"), runs)
    beyond = ours.wall - theirs.wall
    print(f"--help and a bare interpreter: {compared(ours, theirs)}; beyond it {beyond:.3f} s (at most 0.25)")


def print_large(folder: Path, count: int) -> None:
    """Print what many frames take, against the plain loop."""
    write_large_folder(folder, count)
    plain = folder / "plain"
    ours = ("-c", RUN, "measure", str(plain), "--json", "--no-night")
    print(
        f"{count} frames and the plain loop: {compared(*alternate(ours, ('-c', PLAIN_LOOP, str(plain)), 3))}"
    )
    print(once_imported(plain, 3))
    print(f"peak memory: {peak_memory(plain)}; for 8 frames {peak_memory(SWEEP)}")


if __name__ == "__main__":
    main()
