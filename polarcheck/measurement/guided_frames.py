"""Guided frames in the folder of a sweep: left out, and said so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from polarcheck.axis import Course, guided_in_sweep
from polarcheck.errors import Notice
from polarcheck.frames import SENSOR_WEIGHTS, Problem
from polarcheck.measurement.sample import Sample
from polarcheck.vectors import Array

__all__ = ["without_guided"]


def without_guided(
    sample: Sample, observed: Array, guided: bool | None
) -> tuple[Sample, Array, list[Problem]]:
    """Leave out the frames of a sweep's folder that a guider held.

    Parameters
    ----------
    sample : Sample
    observed : ndarray, shape (n, k, 3)
        Its frames' directions, East-North-Up.
    guided : bool or None
        Whether frames that follow a field were guided; None: the frames must tell.

    Returns
    -------
    sample, observed
        The others, with a notice.
    left : list of Problem
    """
    course = Course(sample.elapsed_s, sample.sky, guided)
    held = guided_in_sweep(observed, SENSOR_WEIGHTS, sample.noise, sample.camera, course)
    if not held.any():
        return sample, observed, []
    some = np.flatnonzero(~held)
    frames = [sample.frames[i] for i in np.flatnonzero(held)]
    left = [
        Problem(frame.path, frame.name, "its field stands still, as under a guider", utc=frame.utc)
        for frame in frames
    ]
    part = sample.part(some)
    return replace(part, notices=(*part.notices, _notice(frames[0].name, len(frames)))), observed[some], left


def _notice(first: str, count: int) -> Notice:
    return Notice(
        "guided-left-out",
        f"{count} frames, the first of them {first}, are of a field that stands still while the sky turns, as under a "
        "guider, which moves the declination. Beside a sweep they tell nothing, so the answer is that of the other "
        "frames. If a knob was turned before them, it is the old one. If no guider was at work, say so.",
        ("frames_guided",),
    )
