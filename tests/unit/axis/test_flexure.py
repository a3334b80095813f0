"""Sag and creep on a rigid mount whose axis is known: what is allowed for, and the creep that is found."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from polarcheck.axis.fit import AxisFit, fit_axis
from polarcheck.axis.flexure import Creep, Trace, fit_creeping_axis, flexure_region, holds_as_well
from tests.benchmarks.cramer_rao import rightward_and_upward
from tests.helpers import ARCSEC, DEG
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, Array, camera_at, noisy, seen_by, turned

CAMERA = camera_at(AXIS, 40.0)
SWEEP = np.array([-40.0, -20.0, 0.0, 20.0, 40.0])
TAKEN_BACK = np.append(SWEEP, -40.0)
STEP_S = 60.0


def fitted(rotations: Rotation) -> tuple[AxisFit, Creep | None]:
    n = len(rotations)

    def fit(observed: Array) -> AxisFit:
        return fit_axis(observed, WEIGHTS, np.full(n, NOISE), POLE)

    return fit_creeping_axis(seen_by(rotations), STEP_S * np.arange(n), fit)


def sagged(rotations: Rotation, matrix: Array, size: float) -> Rotation:
    """Each camera turned by `size` times a matrix times the direction of gravity that it feels."""
    gravity = rotations.inv().apply([0.0, 0.0, -1.0])
    return rotations * Rotation.from_rotvec(size * gravity @ matrix.T)


def crept(rotations: Rotation, size: float, across: bool = False) -> Rotation:
    """Boresights moved steadily towards the axis, by `size` from first to last; or across that direction."""
    look = rotations.apply([0.0, 0.0, 1.0])
    towards = np.cross(look, AXIS)
    towards /= np.linalg.norm(towards, axis=-1, keepdims=True)
    about = np.cross(towards, AXIS) if across else towards
    return Rotation.from_rotvec(about * size * np.linspace(0, 1, len(look))[:, None]) * rotations


def displacement(found: AxisFit) -> Array:
    """On the tangent plane at the truth. [arcsec]"""
    return np.asarray(rightward_and_upward(AXIS) @ found.axis / ARCSEC)


def reach(region: Array, shift: Array) -> float:
    """How far into a region a displacement reaches, 1 at its edge."""
    return float(np.sqrt(shift @ np.linalg.solve(region / ARCSEC**2, shift)))


@pytest.mark.parametrize("angles", [SWEEP, np.linspace(5, 30, 4), np.array([-70.0, 10.0, 60.0])])
def test_no_sag_and_creep_of_the_allowed_size_moves_the_axis_beyond_the_region(angles: Array) -> None:
    """Against refits: 60 ways to sag by 5 arcsec, with a creep of 5 arcsec either way or none.

    A hundredth more than the region, for what is not linear.
    """
    rotations, size = turned(AXIS, angles, CAMERA), 5 * ARCSEC
    found, creep = fitted(rotations)
    region = flexure_region(found, size, STEP_S * np.arange(len(angles)))
    rng = np.random.default_rng(1)
    reached = []
    for trial in range(60):
        matrix = rng.normal(size=(3, 3))
        if trial % 3 == 0:  # the declination axis alone gives way
            matrix = np.outer(found.solution.planes[0, :, 0], rng.normal(size=3))
        bent = sagged(rotations, matrix / np.linalg.norm(matrix), size)
        bent = crept(bent, size * (trial % 5 % 3 - 1))
        reached.append(reach(region, displacement(fitted(bent)[0])))
    assert creep is None
    assert max(reached) < 1.01
    assert max(reached) > 0.6  # a bound that nothing comes near would be none


@pytest.mark.parametrize("across", [False, True])
def test_a_creep_alone_reaches_the_edge_of_its_share(across: bool) -> None:
    # sag's share is subtracted by a region for a mount that feels no gravity along the axis: the pole's zenith
    rotations, size = turned(AXIS, np.linspace(-10, 10, 5), CAMERA), 5 * ARCSEC
    found, _ = fitted(rotations)
    region = flexure_region(found, size, STEP_S * np.arange(5))
    part = reach(region, displacement(fitted(crept(rotations, size, across))[0]))
    assert part < 1.001
    assert (part > 0.6) != across  # over 20 deg creep in declination weighs most; across it, roll checks it


@pytest.mark.parametrize("size_arcsec", [0.0, 10.0, -60.0, 200.0])
def test_a_frame_taken_back_tells_the_creep(size_arcsec: float) -> None:
    """The pull has unit variance: 60 seeded draws, so its mean square is within 1 +- 0.5."""
    pulls, offsets = [], []
    for seed in range(60):
        found, creep = fitted(
            noisy(crept(turned(AXIS, TAKEN_BACK, CAMERA), size_arcsec * ARCSEC), seed, scale=0.3)
        )
        assert creep is not None and found.used.all()
        pulls.append((creep.amount - size_arcsec * ARCSEC) / creep.sigma)
        offset = displacement(found) * ARCSEC
        offsets.append(offset @ np.linalg.solve(found.covariance, offset) / 2)
    assert 0.5 < np.mean(np.square(pulls)) < 1.7  # Student's t with 7 degrees of freedom: 1.4
    assert 0.5 < np.mean(offsets) < 1.9


def test_the_axis_in_the_camera_is_that_of_the_last_frame() -> None:
    # 60 arcsec towards the axis: it stands 60 arcsec nearer to the boresight in the last frame than in the first
    found, _ = fitted(crept(turned(AXIS, TAKEN_BACK, CAMERA), 60 * ARCSEC))
    distance = np.arccos(found.camera_axes[0] @ found.attitudes.boresights[0]) / DEG
    assert distance == pytest.approx(40.0 - 60 / 3600, abs=0.1 / 3600)


def test_once_it_is_measured_no_creep_is_allowed_for() -> None:
    found, creep = fitted(turned(AXIS, TAKEN_BACK, CAMERA))
    elapsed = STEP_S * np.arange(6)
    assert creep is not None
    with_it, without = (flexure_region(found, ARCSEC, elapsed, known) for known in (None, creep))
    assert np.trace(without) < 0.5 * np.trace(with_it)


def test_a_steady_sweep_hides_its_creep() -> None:
    assert fitted(crept(turned(AXIS, SWEEP, CAMERA), 30 * ARCSEC))[1] is None


def test_a_slip_before_the_last_frames_is_no_creep() -> None:
    # 2 arcmin at once: the frames before and after are two groups
    rotations = turned(AXIS, np.append(SWEEP, SWEEP), CAMERA)
    look = rotations.apply([0.0, 0.0, 1.0])
    about = np.cross(look, AXIS)
    about /= np.linalg.norm(about, axis=-1, keepdims=True)
    slip = np.repeat([0.0, 120 * ARCSEC], 5)[:, None]
    found, creep = fitted(noisy(Rotation.from_rotvec(about * slip) * rotations, 1, scale=0.3))
    assert creep is None
    assert len(found.group_sizes) == 2


def seen_share(last_deg: float) -> float:
    """Share of a steady change, one more frame after a sweep, that a displaced axis and a constant do not imitate."""
    angles, change = np.append(SWEEP, last_deg) * DEG, np.arange(6) - 2.5
    rows = np.column_stack([np.ones(6), np.cos(angles), np.sin(angles)])
    left = change - rows @ np.linalg.lstsq(rows, change, rcond=None)[0]
    return float(left @ left / (change @ change))


@pytest.mark.parametrize(("share", "told"), [(0.08, False), (0.12, True)])
def test_a_creep_is_solved_for_where_a_tenth_of_it_shows(share: float, told: bool) -> None:
    """With less, a misfit of one sigma would make three of creep: 1 / sqrt(0.1)."""
    last = brentq(lambda angle: seen_share(angle) - share, -20.0, 39.0)
    _, creep = fitted(crept(turned(AXIS, np.append(SWEEP, last), CAMERA), 30 * ARCSEC))
    assert (creep is not None) is told


@pytest.mark.parametrize(("size_arcmin", "told"), [(4.5, True), (6.0, False)])
def test_a_declination_that_moved_by_more_than_five_arcmin_slipped(size_arcmin: float, told: bool) -> None:
    """A clutch, not a material (common practice, no source)."""
    _, creep = fitted(crept(turned(AXIS, TAKEN_BACK, CAMERA), size_arcmin * 60 * ARCSEC))
    assert (creep is not None) is told


def test_a_creep_is_undone_three_times_at_most() -> None:
    """Each is a whole fit, and leaves a thousandth of the creep or less: after two nothing is left that noise would show."""
    fits: list[int] = []

    def fit(observed: Array) -> AxisFit:
        fits.append(len(observed))
        return fit_axis(observed, WEIGHTS, np.full(6, NOISE), POLE)

    rotations = crept(turned(AXIS, TAKEN_BACK, CAMERA), 10 * ARCSEC)
    _, creep = fit_creeping_axis(seen_by(rotations), STEP_S * np.arange(6), fit)
    assert creep is not None
    assert creep.amount == pytest.approx(10 * ARCSEC, rel=1e-7)
    assert len(fits) == 1 + 3


@pytest.mark.parametrize(("further", "settled"), [(0.6e-3, True), (1.5e-3, False)])
def test_a_thousandth_of_its_sigma_is_not_undone_any_more(further: float, settled: bool) -> None:
    trace = Trace(amount=further * 1e-6, visible=0.5, information=1e12, lever=np.zeros(2))
    assert trace.is_settled(1.0) is settled


@pytest.mark.parametrize(
    ("every", "noise", "explains"), [(False, 1.7, True), (False, 1.9, False), (True, 1.1, False)]
)
def test_a_creep_that_holds_all_frames_may_scatter_by_eight_tenths_more_than_a_part_of_them(
    every: bool, noise: float, explains: bool
) -> None:
    """Fewer frames always scatter less; where the plain explanation holds all of them, too, it is not beaten."""
    assert holds_as_well(noise, 1.0, every) is explains
