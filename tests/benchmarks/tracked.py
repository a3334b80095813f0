"""Frames of a mount that follows the sky: is guiding noticed, and does the stated sigma hold?

Run ``python -m tests.benchmarks.tracked`` from the project's root (``--seeds N``, ``--part guided|lasting|real``).

- *guided*: a field held by turns about both mount axes, errors of 6 to 120 arcmin, declinations 20 and 60, one hour
  and three, with and without dithering, north and south, a change of the pier side too. Printed per length: how often
  the answer was refused, how often the truth lay outside a stated 95 % interval, how often guiding was not said.
- *lasting*: unguided, with white noise of 0.2 px, errors in place of the kind AR(1), and a periodic error of the drive.
  Printed: share of truths within the 68.27 % and the 95 % intervals, errors over the stated standard error, root mean
  square; what was warned of.
- *real*: the sequence of `tests.benchmarks.real_sequence`: windows against the whole, and every so many frames.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from polarcheck.errors import PolarcheckError
from polarcheck.frames import FrameSet
from polarcheck.measurement.measurement import measure_frames
from polarcheck.measurement.result import Measurement
from tests.benchmarks.mounts import NORTH, SOUTH
from tests.benchmarks.real_sequence import real_frames
from tests.benchmarks.recovery import off_axis_arcmin
from tests.benchmarks.tracked_mounts import Session, frames_of

Array = npt.NDArray[np.float64]

ARCMIN = np.pi / 10800
ERRORS_ARCMIN = ((4.2, -4.2), (20.0, 10.0), (-50.0, -35.0), (100.0, 80.0))
LASTING = ((2.0, 1.0), (5.0, 5.0), (10.0, 10.0), (20.0, 3.0), (20.0, 30.0))  # arcsec, minutes


@dataclass
class Tally:
    """What many sessions gave."""

    offs: list[Array] = field(default_factory=list)
    sigmas: list[Array] = field(default_factory=list)
    wides: list[Array] = field(default_factory=list)
    deviations: list[Array] = field(default_factory=list)
    codes: Counter[str] = field(default_factory=Counter)
    refused: int = 0
    silent: int = 0

    def add(self, session: Session, rng: np.random.Generator) -> None:
        """Measure one session."""
        try:
            found = measure_frames(frames_of(session, rng))
        except PolarcheckError as error:
            self.refused += 1
            self.silent += "guide" not in str(error)
            return
        self.codes.update(notice.code for notice in found.notices)
        self.silent += not found.fit.is_guided
        near, wide = intervals_arcmin(found)
        off = off_axis_arcmin(found.axis, session.axis)
        self.offs.append(off)
        self.sigmas.append(near)
        self.wides.append(wide)
        self.deviations.append(off * ARCMIN / np.sqrt(np.diag(found.fit.covariance)))

    @property
    def missed(self) -> int:
        """Answers whose azimuth or altitude lies outside its 95 % interval."""
        return (
            int(np.count_nonzero((np.abs(self.offs) > np.array(self.wides)).any(axis=-1))) if self.offs else 0
        )

    @property
    def shares(self) -> tuple[float, float]:
        """Percent of azimuths and altitudes within their intervals."""
        size = np.abs(self.offs)
        return 100 * float(np.mean(size <= self.sigmas)), 100 * float(np.mean(size <= self.wides))


def intervals_arcmin(found: Measurement) -> tuple[Array, Array]:
    """Half-widths of the 68.27 % and 95 % intervals in azimuth on the sky and altitude."""
    error, cosine = found.error, np.cos(np.radians(found.axis_altitude_deg))
    near = np.array([error.azimuth_sigma_arcmin * cosine, error.altitude_sigma_arcmin])
    return near, np.array([error.azimuth_95_arcmin * cosine, error.altitude_95_arcmin])


def guided_sessions(hours: float) -> Iterator[Session]:
    """One session for each error, declination, hemisphere and way of guiding."""
    for site in (NORTH, SOUTH):
        for error in ERRORS_ARCMIN:
            for declination in (20.0, 60.0):
                plain = Session(
                    error, site, declination, hours=hours, frames=int(12 * hours) + 1, guided=True
                )
                yield plain
                yield replace(plain, dither_px=10.0, start_deg=25.0)
                yield replace(plain, dither_px=5.0, flip=True)


def guided_lines(seeds: int) -> Iterator[str]:
    """Rows of the first table."""
    yield "| guided for | sessions | refused | truth outside 95 % | guiding not said | median 95 % az, alt |"
    yield "|---|---|---|---|---|---|"
    for hours in (1.0, 2.0, 3.0, 5.0):
        tally, count = Tally(), 0
        for session in guided_sessions(hours):
            for seed in range(seeds):
                tally.add(session, np.random.default_rng([3, seed]))
                count += 1
        wide = np.median(tally.wides, axis=0) if tally.wides else np.full(2, np.nan)
        yield (
            f"| {hours:g} h | {count} | {tally.refused} | {tally.missed} | {tally.silent} | {wide[0]:.1f}, {wide[1]:.1f} |"
        )


def lasting_lines(seeds: int) -> Iterator[str]:
    """Rows of the second table."""
    yield "| error | frames | 68.27 % | 95 % | error / standard error | median sigma az, alt | refused | said |"
    yield "|---|---|---|---|---|---|---|---|"
    for frames, hours in ((11, 1.0), (40, 2.0), (120, 4.0)):
        base = Session(frames=frames, hours=hours)
        yield _lasting("white", base, seeds)
        for size, minutes in LASTING:
            worse = replace(base, lasting_arcsec=size, lasting_s=60 * minutes, periodic_arcsec=10.0)
            yield _lasting(f'{size:g}", {minutes:g} min', worse, seeds)


def _lasting(name: str, base: Session, seeds: int) -> str:
    tally = Tally()
    for seed in range(seeds):
        rng = np.random.default_rng([8, base.frames, *name.encode(), seed])  # rows with draws of their own
        error = rng.normal(size=2) * 15
        tally.add(
            replace(base, error_arcmin=(error[0], error[1]), start_deg=float(rng.uniform(-50, 20))), rng
        )
    near, wide = tally.shares
    sigma, deviation = np.median(tally.sigmas, axis=0), np.sqrt(np.mean(np.square(tally.deviations)))
    said = ", ".join(f"{code} {count}" for code, count in sorted(tally.codes.items())) or "-"
    return (
        f"| {name} | {base.frames} in {base.hours:g} h | {near:.1f} | {wide:.1f} | {deviation:.2f} "
        f"| {sigma[0]:.2f}, {sigma[1]:.2f} | {tally.refused} | {said} |"
    )


def deviations(length: int, step: int) -> Array:
    """Windows of the real sequence less the whole, over the windows' sigmas, shape (m, 2)."""
    frames = real_frames()
    whole = measure_frames(FrameSet(frames, ())).axis
    found = []
    for first in range(0, len(frames) - length + 1, step):
        part = measure_frames(FrameSet(frames[first : first + length], ()))
        found.append(off_axis_arcmin(part.axis, whole) / intervals_arcmin(part)[0])
    return np.array(found)


def real_lines() -> Iterator[str]:
    """Rows of the third table, then those of thinned sequences."""
    yield "| windows of | number | deviation from the whole over sigma, rms: az, alt, both |"
    yield "|---|---|---|"
    for length, step in ((40, 6), (80, 6)):
        z = deviations(length, step)
        each = np.sqrt(np.mean(z**2, axis=0))
        yield f"| {length} | {len(z)} | {each[0]:.2f}, {each[1]:.2f}, {np.sqrt(np.mean(z**2)):.2f} |"
    yield ""
    yield "| every | frames used | groups | azimuth (on the sky), altitude | sigma | said |"
    yield "|---|---|---|---|---|---|"
    for every in (1, 5, 7, 10, 20):
        found = measure_frames(FrameSet(real_frames()[::every], ()))
        near, _ = intervals_arcmin(found)
        yield (
            f"| {every} | {len(found.used)} | {len(found.fit.camera_axes)} | {found.error.azimuth_on_sky_arcmin:.2f}, "
            f"{found.error.altitude_arcmin:.2f} | {near[0]:.2f}, {near[1]:.2f} "
            f"| {', '.join(notice.code for notice in found.notices)} |"
        )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=100, help="of each row with lasting errors")
    parser.add_argument("--part", choices=["guided", "lasting", "real"])
    options = parser.parse_args()
    parts = {
        "guided": lambda: guided_lines(max(1, options.seeds // 50)),
        "lasting": lambda: lasting_lines(options.seeds),
        "real": real_lines,
    }
    for name, lines in parts.items():
        if options.part in (None, name):
            for line in lines():
                print(line, flush=True)
            print()


if __name__ == "__main__":
    main()
