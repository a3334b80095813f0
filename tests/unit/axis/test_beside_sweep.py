"""Which frames among those of a sweep a guider held."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis.attitudes import camera_attitudes
from polarcheck.axis.beside_sweep import contradicts_tracking, guided_in_sweep, still_runs
from polarcheck.axis.course import Course
from polarcheck.axis.fit import fit_axis
from polarcheck.vectors import rotation_matrix
from tests.helpers import ARCSEC
from tests.rigid_mount import AXIS as MOUNT
from tests.rigid_mount import WEIGHTS, camera_at, seen_by, turned


def held(steps_arcsec: list[float], minutes: float, sweep: int = 5, guided: bool | None = None) -> list[bool]:
    """Of a sweep and, after it, frames of one field that moved on the sky by such steps."""
    count = len(steps_arcsec) + 1
    angles = np.append(
        np.linspace(-40, 40, sweep), -40 + 0.25 * minutes * np.arange(count) / max(count - 1, 1)
    )
    observed = seen_by(turned(MOUNT, angles, camera_at(MOUNT, 40.0)))
    seconds = np.append(60.0 * np.arange(sweep), 60.0 * sweep + 60 * np.linspace(0, minutes, count))
    field = seen_by(turned(MOUNT, np.append(angles[:sweep], np.full(count, 60.0)), camera_at(MOUNT, 40.0)))
    aside = np.append(np.zeros(sweep + 1), np.cumsum(steps_arcsec)) * ARCSEC
    sky = np.einsum("nij,nkj->nki", rotation_matrix(np.array([1.0, 0.0, 0.0]), aside), field)
    noise, camera = np.full(len(sky), ARCSEC), np.zeros(len(sky), dtype=int)
    return [
        bool(one) for one in guided_in_sweep(observed, WEIGHTS, noise, camera, Course(seconds, sky, guided))
    ]


@pytest.mark.parametrize(
    ("steps", "minutes", "expected"),
    [
        ([0.1, -0.1, 0.1, -0.1, 0.1], 15.0, True),
        ([400.0, -400.0, 400.0, -400.0, 400.0], 20.0, True),
        ([15.0] * 5, 20.0, False),
        ([60.0] * 5, 20.0, False),
        ([0.1, -0.1, 0.1, -0.1, 0.1], 8.0, False),
        ([0.0, 70.0], 20.0, True),
        ([0.0, 150.0], 20.0, False),
        ([0.0], 20.0, False),
        ([0.0, 700.0, 0.0], 20.0, False),
    ],
)
def test_a_field_is_held_that_stays_for_ten_minutes(
    steps: list[float], minutes: float, expected: bool
) -> None:
    """Few frames may be dithered by 100 arcsec, five and more must not drift; a field left by 0.15 deg is another one
    (common practice, no source).
    """
    assert held(steps, minutes) == [False] * 6 + [expected] * len(steps)


def test_the_first_frame_of_a_held_field_stays() -> None:
    """A guider had not moved the declination yet."""
    assert held([0.0] * 5, 20.0).index(True) == 6


def test_of_two_held_fields_the_first_frame_of_each_stays() -> None:
    """0.2 deg apart, as a picture of several fields is made: at the second one, too, the guider begins anew."""
    assert held([0.0, 0.0, 720.0, 0.0, 0.0], 30.0)[6:] == [True, True, False, True, True]


def test_what_is_said_of_a_guider_counts() -> None:
    assert any(held([60.0] * 5, 20.0, guided=True))
    assert not any(held([0.0] * 5, 20.0, guided=False))


def beside(drift_arcsec: float, step_arcsec: float, frames: int = 5) -> bool:
    """Whether frames of some minutes whose declination so drifts and so stands beside that of a sweep are guided ones."""
    angles = np.append(np.linspace(-40, 40, 6), 30 + np.linspace(0, 1, frames))
    offset = np.append(np.zeros(6), step_arcsec + drift_arcsec * np.linspace(0, 1, frames)) * ARCSEC
    about = seen_by(turned(MOUNT, angles, camera_at(MOUNT, 40.0)))
    sight = np.einsum("k,nki->ni", WEIGHTS, about)
    normal = np.cross(MOUNT, sight)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    observed = np.einsum("nij,nkj->nki", rotation_matrix(normal, offset), about)
    seconds, noise = (
        np.append(60.0 * np.arange(6), 600 + np.linspace(0, 240, frames)),
        np.full(6 + frames, ARCSEC),
    )
    camera = np.zeros(6 + frames, dtype=int)
    whole = camera_attitudes(observed, WEIGHTS, camera, noise)
    fit = fit_axis(observed[:6], WEIGHTS, noise[:6], MOUNT)
    return contradicts_tracking(whole, np.arange(6, 6 + frames), seconds, fit, np.arange(6))


@pytest.mark.parametrize(("drift", "expected"), [(0.0, False), (4.0, False), (12.0, True), (-12.0, True)])
def test_a_declination_that_drifts_beyond_noise_is_a_guiders(drift: float, expected: bool) -> None:
    """Five frames of 1 arcsec over 4 min: the drift is known to 1.3 arcsec; five of these are asked for."""
    assert beside(drift, 0.0) is expected


@pytest.mark.parametrize(
    ("step", "expected"), [(1.0, True), (120.0, False), (2 * 3600.0, False), (4 * 3600.0, True)]
)
def test_frames_that_begin_beside_the_sweeps_declination_may_follow_a_turn_of_a_knob(
    step: float, expected: bool
) -> None:
    """A knob moves the axis by up to some degrees; what is further off was pointed elsewhere (common practice, no source)."""
    assert beside(20.0, step) is expected


def test_runs_hold_their_first_frame_and_the_time_that_is_asked_for() -> None:
    sky = np.repeat(seen_by(turned(MOUNT, np.array([-40.0, 0.0, 40.0]), camera_at(MOUNT, 40.0))), 4, axis=0)
    course = Course(np.arange(12) * 60.0, sky)
    noise, camera = np.full(12, ARCSEC), np.zeros(12, dtype=int)
    runs = still_runs(WEIGHTS, noise, camera, course, 0.0)
    assert [list(run) for run in runs] == [[0, 1, 2, 3], [4, 5, 6, 7], [8, 9, 10, 11]]
    assert still_runs(WEIGHTS, noise, camera, course, 200.0) == []
