"""Guided frames in the folder of a sweep: left out, and said so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from polarcheck.errors import Notice
from polarcheck.frames import Problem
from polarcheck.measurement.sample import Sample
from polarcheck.vectors import Array

__all__ = ["without_held"]


def without_held(
    sample: Sample, observed: Array, held: npt.NDArray[np.bool_]
) -> tuple[Sample, Array, list[Problem]]:
    """Leave out the frames of a sweep's folder that a guider held.

    Parameters
    ----------
    sample : Sample
    observed : ndarray, shape (n, k, 3)
        Its frames' directions, East-North-Up.
    held : ndarray of bool, shape (n,)
        Which.

    Returns
    -------
    sample, observed
        The others, with a notice.
    left : list of Problem
    """
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
