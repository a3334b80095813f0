"""How close to the smallest possible error, and does the stated sigma hold?

Run ``python -m tests.benchmarks.efficiency`` from the project's root (``--trials N``, ``--frames 2 3 5``,
``--solutions stars|attitudes``, ``--order 5 --stars 400 --arc 40 44``). Seeded trials of one mount with white noise of
0.2 px per pointing: either the attitudes themselves are noisy, or each frame is solved by a gnomonic fit, linear or of a
higher order, to noisy stars. Printed per number of frames: root mean square error over the Cramer-Rao bound (both
directions together, azimuth on the sky, altitude), the share of trials within the stated 68.27 % and 95 % intervals
of azimuth and altitude, the median of the stated sigma over the bound, and how often a good frame was left out. Then
the sample frames: error against their truth.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from polarcheck.alignment.error import axis_error
from polarcheck.axis.fit import fit_axis
from polarcheck.constants import ARCSEC, FRAME_NOISE_PX
from polarcheck.errors import PolarcheckError
from polarcheck.frames import SENSOR_WEIGHTS
from polarcheck.measurement.measurement import measure
from tests.benchmarks.mounts import Array, Scene, Sweep, solved_sky
from tests.benchmarks.recovery import bound_arcmin, off_axis_arcmin, spread

SAMPLES = Path(__file__).parents[2] / "sample_frames"


@dataclass(frozen=True)
class Trials:
    """Errors and half-widths of azimuth (on the sky) and altitude, shape (n, 2). [arcmin]"""

    bound: Array
    errors: Array
    sigmas: Array
    wides: Array
    left_out: float

    @property
    def over_bound(self) -> float:
        """Root mean square error over the bound's, both directions together."""
        return float(np.sqrt(np.sum(np.mean(self.errors**2, axis=0)) / np.sum(self.bound**2)))

    @property
    def each_over_bound(self) -> Array:
        """The same for azimuth and altitude."""
        return np.asarray(np.sqrt(np.mean(self.errors**2, axis=0)) / self.bound)

    @property
    def coverage(self) -> tuple[Array, Array]:
        """Share of errors within the 68.27 % and the 95 % intervals, each shape (2,)."""
        size = np.abs(self.errors)
        return np.mean(size <= self.sigmas, axis=0), np.mean(size <= self.wides, axis=0)


def run(scene: Scene, trials: int, seed: int = 0) -> Trials:
    """Fit many draws of noise."""
    errors, sigmas, wides, left_out = [], [], [], 0
    noise = np.array([scene.camera(i).pixel_scale_arcsec for i in range(len(scene.group))])
    noise *= FRAME_NOISE_PX * ARCSEC
    cosine = np.cos(np.arcsin(scene.axis[2]))
    for trial in range(trials):
        sky = solved_sky(scene, np.random.default_rng([seed, trial]))
        seen = scene.sky.observed(sky, scene.epochs)
        fit = fit_axis(seen, SENSOR_WEIGHTS, noise, scene.pole.direction)
        error = axis_error(fit.axis, fit.covariance, fit.degrees_of_freedom, scene.pole)
        errors.append(off_axis_arcmin(fit.axis, scene.axis))
        sigmas.append([error.azimuth_sigma_arcmin * cosine, error.altitude_sigma_arcmin])
        wides.append([error.azimuth_95_arcmin * cosine, error.altitude_95_arcmin])
        left_out += not fit.used.all()
    return Trials(bound_arcmin(scene), np.array(errors), np.array(sigmas), np.array(wides), left_out / trials)


def line(name: str, found: Trials) -> str:
    """One row of the table."""
    near, wide = found.coverage
    each = found.each_over_bound
    stated = np.median(found.sigmas / found.bound, axis=0)
    return (
        f"| {name} | {found.bound[0]:.4f}, {found.bound[1]:.4f} | {found.over_bound:.3f} | {each[0]:.3f}, {each[1]:.3f} "
        f"| {100 * near[0]:.1f}, {100 * near[1]:.1f} | {100 * wide[0]:.1f}, {100 * wide[1]:.1f} "
        f"| {stated[0]:.2f}, {stated[1]:.2f} | {100 * found.left_out:.1f} |"
    )


def sample_lines() -> list[str]:
    """Error of each sample folder that needs no zone and no solver against its truth, and the stated sigma. [arcmin]"""
    lines = []
    for folder in sorted(path.parent for path in SAMPLES.glob("*/truth.json")):
        truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["error"]
        try:
            found = measure(folder)
        except PolarcheckError:
            continue
        error = found.error
        off = (
            error.azimuth_arcmin - truth["azimuth_arcmin"],
            error.altitude_arcmin - truth["altitude_arcmin"],
        )
        lines.append(
            f"| {folder.name} | {len(found.used)} | {off[0]:+.4f} | {error.azimuth_sigma_arcmin:.4f} | {off[1]:+.4f} "
            f"| {error.altitude_sigma_arcmin:.4f} | {found.fit.noise * FRAME_NOISE_PX:.3f} | {found.fit.roll_ratio:.2f} |"
        )
    return lines


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--trials", type=int, default=1000)
    parser.add_argument("--frames", type=int, nargs="*", default=[2, 3, 5, 8, 24])
    parser.add_argument("--solutions", choices=["stars", "attitudes"], default="stars")
    parser.add_argument("--stars", type=int, default=100)
    parser.add_argument("--noise-px", type=float, default=FRAME_NOISE_PX)
    parser.add_argument("--order", type=int, default=1, help="of the polynomials of each solution")
    parser.add_argument(
        "--arc", type=float, nargs=2, default=(5.0, 75.0), help="first and last axis angle [deg]"
    )
    options = parser.parse_args()
    stars = options.stars if options.solutions == "stars" else 0
    print(
        "| frames | bound az, alt | rms / bound | az, alt | 68.27 % az, alt | 95 % az, alt | sigma / bound | lost |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for count in options.frames:
        scene = Scene(
            [Sweep(spread(count, *options.arc))], stars=stars, noise_px=options.noise_px, order=options.order
        )
        print(line(str(count), run(scene, options.trials)), flush=True)
    print("\n| sample | frames | azimuth off | sigma | altitude off | sigma | noise px | roll ratio |")
    print("|---|---|---|---|---|---|---|---|")
    print("\n".join(sample_lines()))


if __name__ == "__main__":
    main()
