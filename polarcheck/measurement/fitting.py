"""A sample to its fit: all frames, or those that no guider held where the others alone make a sound sweep.

A field that stood still for long is known for a guided one by itself. Two cases show only beside a fit: a field held
for some minutes, which the sweep's axis would have carried on, and a few frames of a sweep among a night of guided
ones, whose rotation tells far less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis import (
    LONG_S,
    AxisFit,
    Course,
    Creep,
    camera_attitudes,
    contradicts_tracking,
    fit_axis,
    fit_sweep,
    guided_in_sweep,
    still_runs,
)
from polarcheck.constants import ARCMIN
from polarcheck.errors import GeometryError
from polarcheck.frames import SENSOR_WEIGHTS, Problem
from polarcheck.measurement.guided_frames import without_held
from polarcheck.measurement.sample import Sample
from polarcheck.measurement.verdicts import left_out_lines
from polarcheck.vectors import Array, tangent_basis

__all__ = ["NO_RESULT_ARCMIN", "Fitted", "fit_frames"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

NO_RESULT_ARCMIN = 60.0
"""A sigma beyond this tells nothing that the eye did not know."""

_LEAST_FRAMES = 3  # in use, that make a sweep
# squared standard errors from which a sweep's axis is another one than that of the guided frames:
# chance brings them once in 400 cases
_ELSEWHERE = 12.0


@dataclass(frozen=True, slots=True)
class Fitted:
    """The frames that were fitted, and what came of it.

    Attributes
    ----------
    sample : Sample
        Without the frames that a guider held beside a sweep; a notice says so.
    observed : ndarray, shape (n, k, 3)
        Where their sensor points were seen, East-North-Up.
    fit : AxisFit
    creep : Creep or None
    left : tuple of Problem
        The frames that were held.
    """

    sample: Sample
    observed: Array
    fit: AxisFit
    creep: Creep | None
    left: tuple[Problem, ...]

    @property
    def worst(self) -> float:
        """Larger half-axis of the error ellipse, one standard error. [rad]"""
        return float(np.sqrt(np.linalg.eigvalsh(self.fit.covariance)[-1]))

    @property
    def is_sound(self) -> bool:
        """Whether the frames agree, and nothing moved between them but the right ascension."""
        fit = self.fit
        moved = bool(fit.turns) or fit.knocked_before is not None or fit.slow_change is not None
        return fit.agrees and not moved and self.worst < NO_RESULT_ARCMIN * ARCMIN


@dataclass(frozen=True, slots=True)
class _Folder:
    """All frames of a folder, and how they are fitted."""

    sample: Sample
    observed: Array
    pole: Array
    guided: bool | None
    refused: Sequence[Problem]

    @property
    def course(self) -> Course:
        return Course(self.sample.elapsed_s, self.sample.sky, self.guided)

    def held_beside_sweep(self) -> Bools:
        sample = self.sample
        return guided_in_sweep(self.observed, SENSOR_WEIGHTS, sample.noise, sample.camera, self.course)

    def still_runs(self, least_s: float) -> list[Ints]:
        if self.guided is False:
            return []
        return still_runs(SENSOR_WEIGHTS, self.sample.noise, self.sample.camera, self.course, least_s)

    def fitted(self, held: Bools) -> Fitted:
        """Fit the frames that are not held."""
        sample, observed, left = without_held(self.sample, self.observed, held)
        course = Course(sample.elapsed_s, sample.sky, self.guided)

        def fit(directions: Array) -> AxisFit:
            return fit_axis(
                directions,
                SENSOR_WEIGHTS,
                sample.noise,
                self.pole,
                course=course,
                camera=sample.camera,
                station=sample.station,
            )

        try:
            found, creep = fit_sweep(observed, sample.elapsed_s, fit)
        except GeometryError as error:
            lines = left_out_lines([*self.refused, *left])
            raise GeometryError(f"{error}{lines}", error.arc_deg, error.parameters) from None
        return Fitted(sample, observed, found, creep, tuple(left))

    def sweep_of(self, runs: Sequence[Ints]) -> tuple[Fitted, Ints] | None:
        """The sound sweep that is left without the frames of runs but their first, and its frames in use, by index."""
        held = _after_first(runs, len(self.observed))
        if np.count_nonzero(~held) < _LEAST_FRAMES or not held.any():
            return None
        try:
            found = self.fitted(held)
        except GeometryError:
            return None
        used = np.flatnonzero(~held)[found.fit.used]
        is_sweep = found.is_sound and len(used) >= _LEAST_FRAMES and found.fit.tracked is None
        return (found, used) if is_sweep else None


def fit_frames(
    sample: Sample, observed: Array, pole: Array, guided: bool | None, refused: Sequence[Problem]
) -> Fitted:
    """Fit the axis to a sample.

    Parameters
    ----------
    sample : Sample
    observed : ndarray, shape (n, k, 3)
        Where its frames' sensor points were seen, East-North-Up.
    pole : ndarray, shape (3,)
        The visible pole, East-North-Up.
    guided : bool or None
        Whether frames that follow a field were guided; None: the frames must tell.
    refused : sequence of Problem
        The files that could not take part, to be named where there is no result.

    Returns
    -------
    Fitted

    Raises
    ------
    GeometryError
        The frames cannot give the axis.
    """
    folder = _Folder(sample, observed, pole, guided, refused)
    held = folder.held_beside_sweep()
    whole, refusal = None, None
    try:
        whole = folder.fitted(held)
    except GeometryError as error:
        refusal = error
    if whole is not None and whole.is_sound and not whole.creep and not whole.fit.is_guided:
        return whole
    follows = whole is None or whole.fit.is_guided
    better = _sweep_among_guided(folder, whole) if follows else _sweep_beside_minutes(folder, held)
    if better is None and whole is None:
        better = _sweep_beside_minutes(folder, held)
    if better is not None:
        return better
    if whole is None:
        assert refusal is not None
        raise refusal
    return whole


def _after_first(runs: Sequence[Ints], count: int) -> Bools:
    held = np.zeros(count, dtype=bool)
    for run in runs:
        held[run[1:]] = True
    return held


def _sweep_among_guided(folder: _Folder, whole: Fitted | None) -> Fitted | None:
    """A sweep among frames that were guided for long, where it is surer than these and they do not contradict it."""
    found = folder.sweep_of(folder.still_runs(LONG_S))
    if found is None or whole is None:
        return None if found is None else found[0]
    sweep = found[0]
    apart = tangent_basis(sweep.fit.axis).T @ (whole.fit.axis - sweep.fit.axis)
    both = whole.fit.covariance + sweep.fit.covariance
    agrees = apart @ np.linalg.solve(both, apart) < _ELSEWHERE  # else a knob was turned before them
    return sweep if agrees and sweep.worst < whole.worst else None


def _sweep_beside_minutes(folder: _Folder, held: Bools) -> Fitted | None:
    """A sweep beside fields held for minutes, that a mount which only tracks about the sweep's axis would not have held."""
    runs = folder.still_runs(0.0)
    found = folder.sweep_of(runs)
    if found is None:
        return None
    sweep, used = found
    sample = folder.sample
    attitudes = camera_attitudes(folder.observed, SENSOR_WEIGHTS, sample.camera, sample.noise)
    guided = [
        run
        for run in runs
        if held[run[-1]] or contradicts_tracking(attitudes, run, sample.elapsed_s, sweep.fit, used)
    ]
    if (_after_first(guided, len(held)) == held).all():
        return None
    if len(guided) == len(runs):
        return sweep
    found = folder.sweep_of(guided)
    return None if found is None else found[0]
