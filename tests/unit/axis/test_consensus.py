"""What an explanation counts and when its frames agree."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from polarcheck.axis.attitudes import camera_attitudes
from polarcheck.axis.consensus import Consensus, degrees_of_freedom, scatter
from polarcheck.axis.least_squares import solve_axis
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, camera_at, noisy, seen_by, turned


def test_degrees_of_freedom_are_two_a_frame_less_two_for_the_axis_and_each_group() -> None:
    assert degrees_of_freedom(np.zeros(5, dtype=int), np.ones(5, dtype=bool)) == 6
    assert degrees_of_freedom(np.array([0, 0, 1, 1, 1]), np.array([True, True, True, True, False])) == 2


@pytest.mark.parametrize(("chance", "agrees"), [(0.0085, True), (0.0115, False), (0.02, False)])
def test_frames_disagree_where_another_axis_is_not_improbable(chance: float, agrees: bool) -> None:
    rotations = noisy(turned(AXIS, np.linspace(-40, 40, 5), camera_at(AXIS, 40.0)), 1)
    attitudes = camera_attitudes(seen_by(rotations), WEIGHTS, np.zeros(5, dtype=int), np.full(5, NOISE))
    used, groups = np.ones(5, dtype=bool), np.zeros(5, dtype=int)
    solution = solve_axis(attitudes, groups, used, POLE)
    one = Consensus(solution, groups, used, scatter(groups, used, solution))
    assert one.agrees
    assert replace(one, rivals=((chance, POLE),)).agrees == agrees


@pytest.mark.parametrize(("scale", "agrees"), [(19.0, True), (21.0, False)])
def test_frames_that_scatter_by_twenty_times_the_noise_disagree(scale: float, agrees: bool) -> None:
    """Clouds and a bad focus make ten of it (common practice, no source)."""
    nothing: Any = None
    used, groups = np.ones(5, dtype=bool), np.zeros(5, dtype=int)
    assert Consensus(nothing, groups, used, scale).agrees is agrees


def test_an_assumed_noise_counts_for_six_degrees_of_freedom() -> None:
    """Five frames have six; where they scatter by chi square 18, the variance is (6 + 18) / (6 + 6)."""
    found: Any = SimpleNamespace(chi_square=18.0)
    used, groups = np.ones(5, dtype=bool), np.zeros(5, dtype=int)
    assert scatter(groups, used, found) == pytest.approx(2**0.5)
