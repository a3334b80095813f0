"""A sweep with frames of one field in its folder, guided or not, before a turn of a knob or after one.

Run ``python -m tests.benchmarks.beside_sweep`` from the project's root (``--seeds N``). Sweeps of 4 and 8 frames, errors
of 5 to 72 arcmin, noise of 0.1 to 0.3 px a pointing. Printed for each kind of field: folders, how many were refused,
how many said `guided-left-out`, how many answers lay further off than twice their 95 % interval, and the median
distance from the truth in those intervals. The truth is the axis as it stands at the last frame.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from polarcheck.errors import PolarcheckError
from polarcheck.frames import FrameSet
from polarcheck.measurement.measurement import measure_frames
from tests.benchmarks.mounts import NORTH, Scene, Sweep
from tests.benchmarks.mounts import frames_of as swept
from tests.benchmarks.recovery import off_axis_arcmin
from tests.benchmarks.tracked import intervals_arcmin
from tests.benchmarks.tracked_mounts import Session, frames_of

ERRORS_ARCMIN = ((23.4, -11.8), (4.0, 3.0), (-60.0, 40.0))
MINUTES = ((3, 4.0), (4, 6.0), (10, 9.0))
NIGHTS = ((20, 90.0), (40, 180.0), (80, 300.0))


@dataclass(frozen=True)
class Kind:
    """What else is in the folder, and whether a knob was turned before it."""

    name: str
    lengths: tuple[tuple[int, float], ...]
    guided: bool
    declination_deg: float = 30.0
    turned: bool = False


KINDS = (
    Kind("guided for 4 to 9 min, a target", MINUTES, True),
    Kind("guided for 4 to 9 min, where the sweep was", MINUTES, True, 50.0),
    Kind("tracked for 4 to 9 min, a target", MINUTES, False),
    Kind("tracked for 4 to 9 min, where the sweep was", MINUTES, False, 50.0),
    Kind("guided for 1.5 to 5 h, a target", NIGHTS, True),
    Kind("tracked for 1.5 to 5 h, a target", NIGHTS, False),
    Kind("a knob turned, tracked for 4 to 9 min where the sweep was", MINUTES, False, 50.0, True),
    Kind("a knob turned, tracked for 4 to 9 min, a target", MINUTES, False, turned=True),
    Kind("a knob turned, guided for 1.5 to 5 h, a target", NIGHTS, True, turned=True),
)


@dataclass
class Tally:
    """What became of one kind."""

    folders: int = 0
    refused: int = 0
    left_out: int = 0
    beyond: int = 0
    off: list[float] = field(default_factory=list)

    def add(self, frames: FrameSet, session: Session) -> None:
        """Measure a folder whose axis stands as in a session."""
        self.folders += 1
        try:
            found = measure_frames(frames)
        except PolarcheckError:
            self.refused += 1
            return
        wide = intervals_arcmin(found)[1]
        self.off.append(float((np.abs(off_axis_arcmin(found.axis, session.axis)) / wide).max()))
        self.left_out += "guided-left-out" in [notice.code for notice in found.notices]
        self.beyond += self.off[-1] > 2


def folders(kind: Kind, seeds: int) -> Iterator[tuple[FrameSet, Session]]:
    """Each with the session that its axis is that of."""
    for error in ERRORS_ARCMIN:
        for count, minutes in kind.lengths:
            for frames in (4, 8):
                for seed in range(seeds):
                    rng = np.random.default_rng([21, count, frames, seed])
                    noise = float(rng.uniform(0.1, 0.3))
                    sweep = Sweep(tuple(np.linspace(-60, 20, frames)), 50.0)
                    start = "2026-11-14T20:00:00"
                    scene = Scene([sweep], NORTH, error, stars=0, start=start, noise_px=noise)
                    session = Session(
                        (1.0, 0.5) if kind.turned else error,
                        declination_deg=kind.declination_deg,
                        frames=count,
                        hours=minutes / 60,
                        guided=kind.guided,
                        noise_px=noise,
                    )
                    both = (*swept(scene, rng).frames, *frames_of(session, rng).frames)
                    yield FrameSet(both, ()), session


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=4)
    options = parser.parse_args()
    print("| beside the sweep | folders | refused | left out as guided | beyond twice 95 % | median |")
    print("|---|---|---|---|---|---|")
    for kind in KINDS:
        tally = Tally()
        for frames, session in folders(kind, options.seeds):
            tally.add(frames, session)
        middle = float(np.median(tally.off)) if tally.off else float("nan")
        print(
            f"| {kind.name} | {tally.folders} | {tally.refused} | {tally.left_out} | {tally.beyond} | {middle:.1f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
