"""How good an axis do how many frames give, over which arc, at which declination?

Run ``python -m tests.benchmarks.which_frames`` from the project's root (``--seeds N``). Prints the table that
docs/measure.md quotes: the root mean square of the true error on the sky, for the demo rig (4.95 arcsec/px,
1.65 x 1.24 deg) with solutions that give the pointing to 0.2 px, white, from 100 stars.
"""

from __future__ import annotations

import argparse

import numpy as np

from polarcheck.errors import GeometryError
from polarcheck.measurement.measurement import measure_frames
from polarcheck.vectors import angle_between
from tests.benchmarks.mounts import Scene, Sweep, frames_of

COUNTS = (2, 3, 5, 8, 15)
ARCS_DEG = (10, 20, 40, 60, 90)
DECLINATIONS_DEG = (10, 30, 50, 70, 85)


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=60)
    seeds = parser.parse_args().seeds
    print("error of the axis on the sky, arcmin, root mean square over", seeds, "draws of noise")
    print("\ndeclination 50 deg:\nframes " + "".join(f"{arc:>8} deg" for arc in ARCS_DEG))
    for count in COUNTS:
        print(f"{count:>6} " + "".join(f"{_error(count, arc, 50.0, seeds):>12.3f}" for arc in ARCS_DEG))
    print("\n5 frames:\ndeclination" + "".join(f"{arc:>8} deg" for arc in ARCS_DEG))
    for declination in DECLINATIONS_DEG:
        errors = (_error(5, arc, declination, seeds) for arc in ARCS_DEG)
        print(f"{declination:>7} deg" + "".join(f"{error:>12.3f}" for error in errors))


def _error(count: int, arc_deg: float, declination_deg: float, seeds: int) -> float:
    angles = tuple(np.linspace(-arc_deg / 2, arc_deg / 2, count))
    scene = Scene([Sweep(angles, declination_deg)])
    errors = []
    for seed in range(seeds):
        try:
            result = measure_frames(frames_of(scene, np.random.default_rng(seed)))
        except GeometryError:  # no answer is no error, but neither is it a success
            return float("nan")
        errors.append(float(angle_between(result.axis, scene.axis)) * 10800 / np.pi)
    return float(np.sqrt(np.mean(np.square(errors))))


if __name__ == "__main__":
    main()
