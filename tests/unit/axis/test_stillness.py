"""A field that a guider holds, and one that drifts."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis.stillness import is_slow, is_still
from tests.helpers import ARCSEC

SECONDS = np.linspace(0, 7200, 40)


def places(east: float, north: float, noise: float = 1.0, dither: float = 0.0, seed: int = 1) -> np.ndarray:
    """Of a field that drifts by so many arcsec an hour. [rad]"""
    rng = np.random.default_rng(seed)
    steady = np.outer(SECONDS / 3600, [east, north]) + noise * rng.normal(size=(40, 2))
    steps = np.repeat(rng.uniform(-dither, dither, (10, 2)), 4, axis=0)
    return np.asarray((steady + steps) * ARCSEC)


@pytest.mark.parametrize("dither", [0.0, 10.0, 60.0])
def test_a_held_field_is_still_dithered_or_not(dither: float) -> None:
    assert is_still(places(0, 0, dither=dither), SECONDS, ARCSEC)


@pytest.mark.parametrize(("east", "north"), [(15.0, 0.0), (0.0, 15.0), (-30.0, 200.0)])
def test_a_drift_is_seen_in_either_direction(east: float, north: float) -> None:
    # 15 arcsec an hour is about what refraction alone does to a field on a perfect axis
    assert not is_still(places(east, north), SECONDS, ARCSEC)


def test_slow_is_what_a_bending_guide_scope_does() -> None:
    assert is_slow(places(20.0, -25.0), SECONDS)
    assert not is_slow(places(0.0, 100.0), SECONDS)


def test_few_frames_are_judged_by_their_places_alone() -> None:
    few = slice(0, 40, 13)
    assert is_still(places(0, 0, dither=5.0)[few], SECONDS[few], ARCSEC)
    assert not is_still(places(0, 300.0)[few], SECONDS[few], ARCSEC)
