"""Is the truth recovered, wherever the mount stands and whatever the frames are like?

Run ``python -m tests.benchmarks.recovery`` from the project's root (``--seeds N``, ``--case WORD``). Each case is
a mount with a known axis under the real sky (refraction, precession, aberration). Its frames are solved from
100 stars scattered over the sensor, with white noise that gives the pointing to 0.2 px, and are measured
as files would be. An error, in azimuth on the sky or in altitude, must stay within 0.03 arcmin and five sigmas
of the Cramer-Rao bound, which `tests.benchmarks.cramer_rao` finds on its own from the good frames.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from polarcheck.errors import PolarcheckError
from polarcheck.measurement.measurement import measure_frames
from polarcheck.measurement.result import Measurement
from polarcheck.simulate import Camera
from polarcheck.site import Site
from tests.benchmarks.cramer_rao import axis_bound, even_grid, rightward_and_upward
from tests.benchmarks.mounts import SOUTH, Array, Scene, Sweep, frames_of, tracked_hour

ARCMIN = np.pi / 180 / 60
FLOOR_ARCMIN = 0.03
SIGMAS = 5.0

TROPICAL = Site(5.0, -75.0, 1800.0, "benchmark")
TROPICAL_NIGHT = "2026-11-15T03:00:00"  # with the Sun up there is no answer
ARCTIC = Site(68.4, 27.4, 150.0, "benchmark")
FLIPPED = Camera(camera_angle_deg=200.0)
MIRRORED = Camera(mirrored=True)
SECOND = Camera(800, 600, 9.0, camera_angle_deg=75.0)
WIDE = Camera(6000, 4000, 14.0)  # 23 x 16 deg
LONG = Camera(3000, 2000, 0.6)  # 0.5 x 0.33 deg


def spread(count: int, first: float = 5.0, last: float = 75.0) -> tuple[float, ...]:
    """Axis angles evenly over an arc. [deg]"""
    return tuple(np.linspace(first, last, count))


def scenes() -> Iterator[tuple[str, Scene]]:
    """Name and scene of every case."""
    for count in (2, 3, 4, 6, 8, 12, 24):
        yield f"north, {count} frames", Scene([Sweep(spread(count))])
        yield f"south, {count} frames", Scene([Sweep(spread(count), -50.0)], SOUTH, (-31.2, 17.6))
    yield "tropical", Scene([Sweep(spread(6, -60, 10), 50.0)], TROPICAL, start=TROPICAL_NIGHT)
    yield (
        "tropical, east and west",
        Scene([Sweep(spread(6, -55, 55), 40.0)], TROPICAL, (-42.0, 35.0), start=TROPICAL_NIGHT),
    )
    yield "arctic", Scene([Sweep(spread(6), 40.0)], ARCTIC)
    yield "arctic, whole turn", Scene([Sweep(spread(8, -160, 170), 70.0)], ARCTIC, (90.0, -20.0))
    yield "near the pole", Scene([Sweep(spread(6), 87.0)])
    yield "on the axis", Scene([Sweep(spread(6), 89.95)])
    yield "near the pole, south", Scene([Sweep(spread(6), -88.5)], SOUTH)
    yield "declination -10", Scene([Sweep(spread(6, -35, 35), -10.0)])
    yield "declination +10, south", Scene([Sweep(spread(6, -35, 35), 10.0)], SOUTH)
    yield "tracked hour", Scene([Sweep(tracked_hour(20.0))], cadence_s=360.0)
    yield "tracked hour, south", Scene([Sweep(tracked_hour(-30.0), -35.0)], SOUTH, cadence_s=360.0)
    yield "mirrored", Scene([Sweep(spread(6), camera=MIRRORED)])
    yield "mirrored, south", Scene([Sweep(spread(6), -50.0, MIRRORED)], SOUTH)
    yield "wide field, distorted", Scene([Sweep(spread(6), camera=WIDE)], barrel_px=-60.0)
    yield "long focus", Scene([Sweep(spread(6), camera=LONG)])
    yield "pier flip", Scene([Sweep(spread(4, 15, 65)), Sweep(spread(4, -65, -15), camera=FLIPPED)])
    yield "two declinations", Scene([Sweep(spread(4), 50.0), Sweep(spread(3), 70.0)])
    yield "two cameras", Scene([Sweep(spread(4)), Sweep(spread(4), camera=SECOND)])
    yield "error of 3 deg", Scene([Sweep(spread(6))], error_arcmin=(190.0, 125.0))
    yield "error of 3 deg, south", Scene([Sweep(spread(6), -50.0)], SOUTH, (-140.0, 130.0))
    yield "no noise at all", Scene([Sweep(spread(6))], noise_px=0.0)
    yield "a fifth of the noise", Scene([Sweep(spread(6))], noise_px=0.04)
    yield "five times the noise", Scene([Sweep(spread(6))], noise_px=1.0)
    yield "one 0.4 deg off", Scene([Sweep(spread(6))], wrong=[(2, 1440.0)])
    yield "one 40 arcsec off", Scene([Sweep(spread(6))], wrong=[(4, 40.0)])
    yield "both off", Scene([Sweep(spread(6))], wrong=[(2, 1440.0), (4, 40.0)])
    yield "both off, first two", Scene([Sweep(spread(6))], wrong=[(0, 1440.0), (1, 40.0)])
    yield (
        "both off, south",
        Scene([Sweep(spread(6), -50.0)], SOUTH, (-31.2, 17.6), wrong=[(5, 1440.0), (0, 40.0)]),
    )
    yield "one 0.4 deg off of 4", Scene([Sweep(spread(4))], wrong=[(1, 1440.0)])
    yield "both off, low noise", Scene([Sweep(spread(6))], noise_px=0.04, wrong=[(2, 1440.0), (4, 40.0)])


@dataclass(frozen=True)
class Outcome:
    """What the seeds of one case gave. [arcmin]"""

    bound: Array
    errors: Array
    sigmas: Array
    refused: int
    left_out: float

    @property
    def shares(self) -> Array:
        """Larger error of each seed as a share of what is allowed."""
        return np.asarray(np.abs(self.errors / (FLOOR_ARCMIN + SIGMAS * self.bound)).max(axis=-1))


def bound_arcmin(scene: Scene) -> Array:
    """Cramer-Rao sigma in azimuth on the sky and altitude from the frames that are not wrong. [arcmin]"""
    good = np.setdiff1d(np.arange(len(scene.group)), [frame for frame, _ in scene.wrong])
    stars, sigma = [], []
    for sweep in scene.sweeps:
        camera = sweep.camera
        grid = even_grid(camera.width_px, camera.height_px)
        stars.append(scene.directions(grid + camera.centre_px, camera))
        star_px = scene.noise_px * np.sqrt(len(grid))
        sigma.append(max(star_px, 1e-9) * camera.pixel_scale_arcsec / 60 * ARCMIN)
    covariance = axis_bound(scene.axis, scene.attitudes[good], scene.group[good], stars, sigma)
    return np.asarray(np.sqrt(np.diag(covariance)) / ARCMIN)


def off_axis_arcmin(found: Array, truth: Array) -> Array:
    """Error in azimuth (on the sky) and altitude, shape (2,). [arcmin]"""
    across = rightward_and_upward(truth)
    return np.asarray(across @ found / (found @ truth) / ARCMIN)


def sigmas_arcmin(result: Measurement) -> Array:
    """Stated sigmas in azimuth (on the sky) and altitude. [arcmin]"""
    cosine = np.cos(np.radians(result.axis_altitude_deg))
    return np.array([result.error.azimuth_sigma_arcmin * cosine, result.error.altitude_sigma_arcmin])


def outcome_of(scene: Scene, seeds: int) -> Outcome:
    """Measure one case with many draws of noise."""
    errors, sigmas, refused, left_out = [], [], 0, 0
    for seed in range(seeds):
        try:
            result = measure_frames(frames_of(scene, np.random.default_rng(seed)))
        except PolarcheckError:
            refused += 1
            continue
        errors.append(off_axis_arcmin(result.axis, scene.axis))
        sigmas.append(sigmas_arcmin(result))
        left_out += len(result.left_out)
    kept = max(seeds - refused, 1)
    shape = (len(errors), 2)
    return Outcome(
        bound_arcmin(scene),
        np.array(errors).reshape(shape),
        np.array(sigmas).reshape(shape),
        refused,
        left_out / kept,
    )


def line(name: str, outcome: Outcome) -> str:
    """One row of the table."""
    rms = np.sqrt(np.mean(outcome.errors**2, axis=0))
    stated = np.median(outcome.sigmas, axis=0) / outcome.bound
    ratio = f"{stated[0]:.2f}, {stated[1]:.2f}" if outcome.bound.min() > 1e-5 else "-"
    numbers = [*outcome.bound, *rms]
    beyond = np.mean(outcome.shares > 1)
    verdict = f"{100 * beyond:.0f} % FAIL" if beyond or outcome.refused else "ok"
    return (
        f"| {name} | {' | '.join(f'{n:.4f}' for n in numbers)} | {outcome.shares.max(initial=0.0):.2f} "
        f"| {ratio} | {outcome.left_out:.2f} | {outcome.refused} | {verdict} |"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=40)
    parser.add_argument("--case", default="", help="only cases whose name holds this")
    options = parser.parse_args()
    print(
        "| case | bound az | bound alt | rms az | rms alt | worst / allowed | sigma / bound | left out | refused | |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|")
    for name, scene in scenes():
        if options.case in name:
            print(line(name, outcome_of(scene, options.seeds)), flush=True)


if __name__ == "__main__":
    main()
