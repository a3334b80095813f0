"""Is a steady creep of the declination found where a frame is taken back at the first position?

Run ``python -m tests.benchmarks.creep`` from the project's root (``--seeds N``). Mounts of SciPy's rotations, north
and south; sweeps of 3 to 7 frames over 80 deg and the first position once more; pointings good to 1 arcsec (0.2 px)
and to 0.2. Printed: the share of draws whose creep is within 20 % of the truth, errors over the stated sigma, root mean
square, and the median sigma.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

import numpy as np
from scipy.spatial.transform import Rotation

from polarcheck.axis.fit import AxisFit, fit_axis
from polarcheck.axis.flexure import Creep, fit_creeping_axis
from tests.helpers import ARCSEC
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, Array, camera_at, noisy, seen_by, turned

SOUTHWARD = np.array([1.0, -1.0, 1.0])
SIZES = (2.0, 5.0, 10.0, 20.0, 60.0)


def crept(rotations: Rotation, axis: Array, size: float) -> Rotation:
    """Boresights moved steadily towards the axis, by `size` from first to last."""
    about = np.cross(rotations.apply([0.0, 0.0, 1.0]), axis)
    about /= np.linalg.norm(about, axis=-1, keepdims=True)
    share = np.linspace(0, 1, len(about))[:, None]
    return Rotation.from_rotvec(about * size * share) * rotations


def found(frames: int, south: bool, size_arcsec: float, scale: float, seed: int) -> Creep | None:
    """The creep of one draw."""
    rng = np.random.default_rng([frames, south, seed])
    mirror = SOUTHWARD if south else np.ones(3)
    axis, first = AXIS * mirror, rng.uniform(-60, -20)
    angles = np.append(np.linspace(first, first + 80, frames - 1), first)
    clean = crept(turned(axis, angles, camera_at(axis, rng.uniform(25, 75))), axis, size_arcsec * ARCSEC)

    def fit(observed: Array) -> AxisFit:
        return fit_axis(observed, WEIGHTS, np.full(frames, NOISE * scale), POLE * mirror)

    return fit_creeping_axis(seen_by(noisy(clean, rng, scale=scale)), 60.0 * np.arange(frames), fit)[1]


def lines(seeds: int) -> Iterator[str]:
    """Rows of the table."""
    yield "| frames | noise | creep | within 20 % | not solved for | error / sigma | median sigma |"
    yield "|---|---|---|---|---|---|---|"
    for frames in (4, 6, 8):
        for scale in (1.0, 0.2):
            for size in SIZES:
                draws = [found(frames, s, size, scale, seed) for s in (False, True) for seed in range(seeds)]
                told = [one for one in draws if one is not None]
                off = np.array([one.amount / ARCSEC - size for one in told])
                sigmas = np.array([one.sigma / ARCSEC for one in told])
                near = 100 * np.count_nonzero(np.abs(off) <= 0.2 * size) / len(draws)
                yield (
                    f'| {frames} | {scale:g}" | {size:g}" | {near:.0f} % | {len(draws) - len(told)} '
                    f'| {np.sqrt(np.mean((off / sigmas) ** 2)):.2f} | {np.median(sigmas):.2f}" |'
                )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=20, help="of each row and hemisphere")
    for line in lines(parser.parse_args().seeds):
        print(line, flush=True)


if __name__ == "__main__":
    main()
