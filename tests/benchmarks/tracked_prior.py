"""Is what a tracked sequence's errors are believed to be like borne out where they are just so?

Run ``python -m tests.benchmarks.tracked_prior`` from the project's root (``--draws N``). Errors of place and rotation are
drawn from the very distribution by which `polarcheck.axis.correlation` and `polarcheck.axis.mixture` weigh them: white,
or lasting with any strength and time of the grid; the ratio of their white parts; now and then a contradiction. The
stated intervals must then hold the truth in 68.27 and 95 % of the draws, whatever these distributions are. Where they
did not, the computation would be wrong, not the belief.

References
----------
.. [1] S. Talts et al., "Validating Bayesian inference algorithms with simulation-based calibration" (2018), from memory.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from scipy.stats import t as student

from polarcheck.axis import correlation, mixture
from polarcheck.axis.correlation import Component, Series
from polarcheck.axis.mixture import estimate
from polarcheck.axis.tracked_equations import equations_of
from polarcheck.measurement.measurement import measure_frames
from tests.benchmarks.tracked_mounts import Session, frames_of

Array = npt.NDArray[np.float64]

LENGTHS = ((11, 1.0), (40, 2.0), (120, 4.0))
"""Frames, hours."""


def equations(frames: int, hours: float) -> tuple[Series, Series]:
    """Of place and rotation, for a mount 25 arcmin off."""
    session = Session(error_arcmin=(15.0, -20.0), frames=frames, hours=hours)
    fit = measure_frames(frames_of(session, np.random.default_rng(0))).fit
    assert fit.tracked is not None
    open_loop = np.zeros(len(fit.camera_axes), dtype=bool)
    place, rotation = equations_of(
        fit.attitudes, fit.tracked.places, session.seconds, fit.groups, fit.used, open_loop
    )
    assert place is not None
    return place, rotation


def drawn(series: Series, scale: float, rng: np.random.Generator) -> Array:
    """Errors as they are believed to be, of a white part `scale` times the assumed noise."""
    count = len(series.seconds)
    found = rng.normal(size=count)
    if rng.random() >= correlation._WHITE:
        cadence, span = float(np.median(np.diff(series.seconds))), float(np.ptp(series.seconds))
        least = correlation._SHORTEST * cadence
        times = np.geomspace(least, correlation._LONGEST * span, correlation._TIMES)
        strength, time = rng.choice(correlation._STRENGTHS), rng.choice(times)
        apart = np.abs(series.seconds[:, None] - series.seconds)
        root = np.linalg.cholesky(np.exp(-apart / time) + 1e-9 * np.eye(count))
        found += np.sqrt(strength) * root @ rng.normal(size=count)
    return np.asarray(scale * series.sigma * found)


def with_misfit(series: Series, misfit: Array) -> Series:
    """The same equations with other errors."""
    return Series(misfit, series.design, series.sigma, series.seconds, series.groups)


def coverage(place: Series, rotation: Series, draws: int, rng: np.random.Generator) -> tuple[float, float]:
    """Percent of azimuths and altitudes within the 68.27 and 95 % intervals."""
    held = []
    for _ in range(draws):
        ratio = float(np.exp(mixture._PRIOR_WIDTH * rng.standard_t(2)))
        off = np.zeros(2)
        if rng.random() < mixture._CONTRADICTS:
            off = rng.normal(size=2) * rng.choice(mixture._CONTRADICTIONS)
        both = (
            with_misfit(place, drawn(place, 1.0, rng)),
            with_misfit(rotation, drawn(rotation, ratio, rng) + rotation.design @ off),
        )
        found = estimate(*(Component.of(series) for series in both))
        assert found is not None
        size = np.abs(found.step) / np.sqrt(np.diag(found.covariance))
        held.append([size <= student.ppf((1 + c) / 2, found.degrees_of_freedom) for c in (0.6827, 0.95)])
    near, wide = 100 * np.mean(held, axis=(0, 2))
    return float(near), float(wide)


def lines(draws: int) -> Iterator[str]:
    """Rows of the table."""
    yield "| frames | 68.27 % | 95 % |"
    yield "|---|---|---|"
    for frames, hours in LENGTHS:
        near, wide = coverage(*equations(frames, hours), draws, np.random.default_rng([11, frames]))
        yield f"| {frames} in {hours:g} h | {near:.1f} | {wide:.1f} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--draws", type=int, default=400)
    for line in lines(parser.parse_args().draws):
        print(line, flush=True)


if __name__ == "__main__":
    main()
