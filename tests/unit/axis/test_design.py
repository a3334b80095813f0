"""What a sweep would say before it is taken, against the fit itself and against exhaustive search."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from polarcheck.axis import axis_angle, chosen_frames, pointing_at, sweep_design
from tests.helpers import DEG, separation_arcsec
from tests.rigid_mount import AXIS, POLE, Array, camera_at, turned
from tests.unit.axis.test_fit import SOUTHERN_AXIS, SOUTHERN_POLE, fitted


def cost(information: Array) -> Array:
    return np.asarray(np.trace(np.linalg.inv(information + 1e-12 * np.eye(2)), axis1=-2, axis2=-1))


@pytest.mark.parametrize("distance", [5.0, 40.0, 80.0])
@pytest.mark.parametrize(("axis", "pole"), [(AXIS, POLE), (SOUTHERN_AXIS, SOUTHERN_POLE)])
def test_information_is_that_of_the_fit(axis: Array, pole: Array, distance: float) -> None:
    rotations = turned(axis, [-50.0, -10.0, 5.0, 40.0], camera_at(axis, distance))
    fit = fitted(rotations, pole)
    looks = rotations.apply([0.0, 0.0, 1.0])
    design = sweep_design(axis, looks, float(fit.attitudes.roll_moments[0]))
    ours = design.information(np.arange(4)) / fit.attitudes.noise[0] ** 2
    # the fit's roll ratio is 1 for noiseless frames only by its prior; 1e-3 of the whole
    assert ours / np.trace(ours) == pytest.approx(
        fit.solution.information / np.trace(fit.solution.information), abs=1e-3
    )
    assert np.trace(ours) == pytest.approx(np.trace(fit.solution.information), rel=1e-3)


@pytest.mark.parametrize(("axis", "north"), [(AXIS, True), (SOUTHERN_AXIS, False)])
def test_pointing_has_the_axis_angle_and_the_distance_asked_for(axis: Array, north: bool) -> None:
    angles = np.array([-150.0, -30.0, 0.0, 70.0]) * DEG
    looks = pointing_at(axis, 25 * DEG, angles, north)
    assert axis_angle(axis, looks, north) == pytest.approx(angles, abs=1e-12)
    assert separation_arcsec(looks, axis) == pytest.approx(25 * 3600)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_exchange_comes_within_two_percent_of_every_choice(count: int) -> None:
    angles = np.arange(-60, 61, 10) * DEG
    looks = pointing_at(AXIS, 30 * DEG, angles, True)
    design = sweep_design(AXIS, looks, 1e-4)
    allowed = np.ones(len(angles), dtype=bool)
    allowed[3:5] = False
    found = chosen_frames(design, angles, allowed, count, 20 * DEG, cost)
    places = [i for i in range(len(angles)) if allowed[i]]
    every = [
        float(cost(design.information(np.array(some))))
        for some in combinations(places, count)
        if np.diff(angles[list(some)]).min() > 19.9 * DEG
    ]
    assert float(cost(design.information(found))) <= 1.02 * min(every)
    assert np.diff(angles[found]).min() > 19.9 * DEG
    assert allowed[found].all()


def test_more_frames_than_fit_are_none() -> None:
    angles = np.arange(-20, 21, 10) * DEG
    design = sweep_design(AXIS, pointing_at(AXIS, 0.5, angles, True), 1e-4)
    assert len(chosen_frames(design, angles, np.ones(5, dtype=bool), 4, 20 * DEG, cost)) == 0
    assert len(chosen_frames(design, angles, np.zeros(5, dtype=bool), 2, 20 * DEG, cost)) == 0
