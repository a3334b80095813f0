"""Does a planned sweep keep its promise, how does it compare with the obvious one, and how long does planning take?

Run ``python -m tests.benchmarks.plan`` from the project's root (``--seeds N``). For each case: the sigma that the plan
expects, and the root mean square of the true error over draws of noise through the real fit (`measure_frames`), for the
demo rig (4.95 arcsec/px, 1.65 x 1.24 deg) with solutions that give the pointing to 0.2 px, white; the same as a solver
has it, from 100 stars on each frame. Then the processor time of one plan.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field

import numpy as np

from polarcheck.axis import MountLimits, Reach
from polarcheck.errors import GeometryError
from polarcheck.measurement import measure_frames
from polarcheck.planning import SweepPlan, SweepWish, camera_of, plan_sweep
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import utc_from_iso
from polarcheck.vectors import angle_between
from tests.benchmarks.mounts import Scene, Sweep, frames_of

AT = "2026-11-14T20:30:00"
DEG = np.pi / 180
SOUTH_VIEW = Reach(lowest=20 * DEG, highest=60 * DEG, view=(120 * DEG, 240 * DEG))
EAST_VIEW = Reach(lowest=20 * DEG, view=(45 * DEG, 135 * DEG))


@dataclass(frozen=True)
class Case:
    """A site, a number of frames and a view."""

    name: str
    latitude_deg: float
    frames: int
    reach: Reach = field(default_factory=Reach)


CASES = (
    Case("47 N, 3 frames", 47.3, 3),
    Case("47 N, 5 frames", 47.3, 5),
    Case("47 N, 8 frames", 47.3, 8),
    Case("31 S, 5 frames", -31.4, 5),
    Case("5 N, 5 frames", 5.0, 5),
    Case("68 N, 4 frames", 68.0, 4),
    Case("47 N, to the south only", 47.3, 5, SOUTH_VIEW),
    Case("47 N, to the east only", 47.3, 5, EAST_VIEW),
    Case(
        "47 N, south, no meridian",
        47.3,
        5,
        Reach(20 * DEG, 60 * DEG, None, (120 * DEG, 240 * DEG), MountLimits(0.0)),
    ),
)


def plan_of(case: Case) -> SweepPlan:
    """The plan of a case."""
    sky = Sky.over(Site(case.latitude_deg, 11.2, 900.0))
    return plan_sweep(sky, utc_from_iso(AT), camera_of(None), SweepWish(case.frames, None, case.reach))


def errors_of(plan: SweepPlan, seeds: int, stars: int) -> np.ndarray:
    """Error in azimuth about the vertical, altitude, and on the sky, of planned frames with noise, shape (seeds, 3). [arcmin]

    NaN where the frames give no answer.
    """
    angles = tuple(position.axis_angle_deg for position in plan.positions)
    scene = Scene([Sweep(angles, plan.declination_deg)], plan.sky.site, (0.0, 0.0), stars=stars, start=AT)
    found = []
    for seed in range(seeds):
        try:
            result = measure_frames(frames_of(scene, np.random.default_rng(seed)))
        except GeometryError:
            found.append((np.nan, np.nan, np.nan))
            continue
        total = float(angle_between(result.axis, scene.axis)) * 10800 / np.pi
        found.append((result.error.azimuth_arcmin, result.error.altitude_arcmin, total))
    return np.array(found)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=400)
    seeds = parser.parse_args().seeds
    print("one sigma, arcmin: azimuth, altitude")
    print(f"{'':<26}{'expected':>16}{'rms, white':>16}{'rms, 100 stars':>16}{'obvious':>16}{'CPU, s':>9}")
    for case in CASES:
        begin = time.process_time()
        plan = plan_of(case)
        seconds = time.process_time() - begin
        expected, obvious = plan.expected, plan.obvious
        cells = [f"{expected.azimuth_arcmin:8.3f}{expected.altitude_arcmin:8.3f}"]
        for stars in (0, 100):
            errors = errors_of(plan, seeds, stars)
            azimuth, altitude = np.sqrt(np.nanmean(errors[:, :2] ** 2, axis=0))
            cells.append(f"{azimuth:8.3f}{altitude:8.3f}")
        cells.append(f"{obvious.azimuth_arcmin:8.3f}{obvious.altitude_arcmin:8.3f}")
        reach = "" if plan.obvious_in_reach else " (not in reach)"
        print(f"{case.name:<26}" + "".join(cells) + f"{seconds:9.2f}" + reach)


if __name__ == "__main__":
    main()
